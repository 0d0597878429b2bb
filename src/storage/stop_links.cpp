#include "storage/stop_links.h"

namespace rankwright::storage {

namespace {

using organ::Division;
using organ::Instrument;
using organ::Stop;

std::pair<std::size_t, std::size_t> indices(const Instrument& instrument,
                                            const organ::StopRef& ref) {
    const auto division = static_cast<std::size_t>(ref.division - instrument.divisions.data());
    return {division, static_cast<std::size_t>(ref.stop - ref.division->stops.data())};
}

// Joins one link after another; later checks see what earlier ones filled in.
class Joiner {
  public:
    Joiner(Instrument& instrument, Mistakes& mistakes)
        : instrument_(instrument), mistakes_(mistakes) {}

    void join(const Link& link) {
        Stop& stop = instrument_.divisions[link.division].stops[link.stop];
        const auto found =
            link.name == "itself" && link.role == Link::Role::tuned_from
                ? std::optional(std::pair(link.division, link.stop))
                : look_up(instrument_, link.division, link.name, link.place, mistakes_);
        if (!found) {
            if (link.role == Link::Role::celeste) stop.celeste.reset();
            return;
        }
        const Division& division = instrument_.divisions[found->first];
        const Stop& other = division.stops[found->second];
        const bool itself = *found == std::pair(link.division, link.stop);
        switch (link.role) {
            case Link::Role::celeste:
                if (itself) refuse(link, "a stop can't be its own mate");
                if (stop.celeste) {
                    stop.celeste->mate_division = division.id;
                    stop.celeste->mate_stop = other.id;
                }
                break;
            case Link::Role::borrowed:
                if (itself)
                    refuse(link, "a stop can't borrow from itself");
                else if (other.borrowed)
                    refuse(link, "\"" + other.name +
                                     "\" has no pipes of its own; name the stop that has them");
                *stop.borrowed = {division.id, other.id};
                break;
            case Link::Role::tuned_from:
                stop.tuned_from[link.range].division = division.id;
                stop.tuned_from[link.range].stop = other.id;
                break;
        }
    }

  private:
    void refuse(const Link& link, std::string message) {
        mistakes_.add(link.place, std::move(message));
    }

    Instrument& instrument_;
    Mistakes& mistakes_;
};

}  // namespace

std::optional<std::pair<std::size_t, std::size_t>> look_up(const Instrument& instrument,
                                                           std::optional<std::size_t> division,
                                                           const std::string& name,
                                                           const toml::source_region& place,
                                                           Mistakes& mistakes) {
    if (division) {
        const auto own =
            organ::find_stop(instrument, instrument.divisions[*division].name + "/" + name);
        if (own) return indices(instrument, *own);
    }
    const auto found = organ::find_stop(instrument, name);
    if (found) return indices(instrument, *found);
    mistakes.add(place, found.error().message);
    return std::nullopt;
}

void join_stops(Instrument& instrument, const std::vector<Link>& links, const StopPlaces&,
                Mistakes& mistakes) {
    Joiner joiner(instrument, mistakes);
    for (const Link& link : links)
        joiner.join(link);
}

}  // namespace rankwright::storage

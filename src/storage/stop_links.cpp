#include "storage/stop_links.h"

#include "organ/note.h"
#include "storage/reference_circle.h"

#include <algorithm>

namespace rankwright::storage {

namespace {

using organ::Division;
using organ::Instrument;
using organ::Stop;
using organ::StopRef;

std::string in_quotes(const std::string& name) { return text_of({"\"", name, "\""}); }

// Joins and checks one link after another: all names first, then what depends on them.
class Joiner {
  public:
    Joiner(Instrument& instrument, Mistakes& mistakes)
        : instrument_(instrument), mistakes_(mistakes) {}

    void join(const Link& link) {
        Stop& stop = stop_of(link);
        const Division& home = instrument_.divisions[link.division];
        const bool itself = link.name == "itself" && link.role == Link::Role::tuned_from;
        const auto other =
            itself
                ? StopRef{&home, &stop, &instrument_}
                : look_up(instrument_, &home, link.name, link.place, mistakes_).value_or(StopRef{});
        if (other.stop == nullptr) {
            if (link.role == Link::Role::celeste) stop.celeste.reset();
            return;
        }
        switch (link.role) {
            case Link::Role::celeste:
                join_celeste(link, stop, other);
                break;
            case Link::Role::borrowed:
                join_borrowed(link, stop, other);
                break;
            case Link::Role::tuned_from:
                join_reference(link, stop, other);
                break;
        }
    }

    void check_borrowing(const Link& link) {
        const Stop& stop = stop_of(link);
        if (stop.borrowed->stop.empty()) return;
        const StopRef owner =
            organ::stop_by_id(instrument_, stop.borrowed->division, stop.borrowed->stop);
        const Division& home = instrument_.divisions[link.division];
        const Stop& rank = *owner.stop;
        const int up = home.lowest_midi - owner.division->lowest_midi + stop.footage.semitones() -
                       rank.footage.semitones();
        const bool octaves = rank.footage.octave_sounding() && !rank.mixture();
        if ((rank.mixture() && up != 0) || (!octaves && up % 12 != 0)) {
            refuse(link,
                   text_of({in_quotes(rank.name),
                            " isn't a rank of octaves; it can be borrowed at its own feet only"}));
            return;
        }
        const int lowest = stop.first_key + up, highest = stop.last_key + up;
        const int last = rank.last_key + rank.extra_pipes;
        if (lowest >= rank.first_key && highest <= last) return;
        refuse(link, text_of({in_quotes(stop.name), " plays pipes ", std::to_string(lowest), " to ",
                              std::to_string(highest), " of ", in_quotes(rank.name), ", which has ",
                              std::to_string(rank.first_key), " to ", std::to_string(last),
                              highest > last
                                  ? "; give that one \"extra_pipes\" or this one a lower \"to\""
                                  : "; let this one begin higher: \"from\""}));
    }

    void check_celeste(const Link& link) {
        const Stop& stop = stop_of(link);
        if (!stop.celeste || stop.celeste->mate_stop.empty()) return;
        const StopRef mate =
            organ::stop_by_id(instrument_, stop.celeste->mate_division, stop.celeste->mate_stop);
        const std::string name = in_quotes(mate.stop->name);
        if (mate.stop->mixture() || stop.mixture() || mate.stop->footage != stop.footage)
            refuse(link,
                   text_of({"a celeste and its mate sound the same pitch; ", name, " doesn't"}));
        else if (mate.stop->celeste)
            refuse(link,
                   text_of({name, " is a celeste itself; name the rank that stands in tune"}));
        else if (mate.stop->first_key > stop.first_key || mate.stop->last_key < stop.last_key)
            refuse(link, text_of({"the celeste goes beyond its mate ", name,
                                  "; give it that one's compass: \"from\" and \"to\""}));
    }

    void check_reference(const Link& link) {
        const Stop& stop = stop_of(link);
        const organ::TunedFrom& range = stop.tuned_from[link.range];
        if (range.stop.empty()) return;
        const Division& home = instrument_.divisions[link.division];
        const StopRef other = organ::stop_by_id(instrument_, range.division, range.stop);
        // Whose pipes it plays wasn't found, and that was said.
        if (other.stop->borrowed && other.stop->borrowed->stop.empty()) return;
        const bool last_range = link.range + 1 == stop.tuned_from.size();
        const int last = last_range ? stop.last_key : stop.tuned_from[link.range + 1].first_key - 1;
        for (int key = range.first_key; key <= last; ++key) {
            const int midi = home.lowest_midi + key - 1 + range.semitones;
            if (organ::own_pipe(other, midi - other.division->lowest_midi + 1)) continue;
            refuse(link, text_of({organ::note_name(home.lowest_midi + key - 1), " of ",
                                  in_quotes(stop.name), " would be tuned from ",
                                  organ::note_name(midi), " of ", in_quotes(other.stop->name),
                                  ", which has no such pipe; give these keys another reference"}));
            return;
        }
    }

  private:
    Stop& stop_of(const Link& link) {
        return instrument_.divisions[link.division].stops[link.stop];
    }

    void refuse(const Link& link, std::string message) {
        mistakes_.add(link.place, std::move(message));
    }

    void join_celeste(const Link& link, Stop& stop, const StopRef& mate) {
        if (mate.stop == &stop)
            refuse(link, "a stop can't be its own mate");
        else if (mate.stop->borrowed)
            refuse(link, text_of({in_quotes(mate.stop->name),
                                  " has no pipes of its own; name the stop that has them"}));
        else if (stop.celeste) {
            stop.celeste->mate_division = mate.division->id;
            stop.celeste->mate_stop = mate.stop->id;
        }
    }

    void join_borrowed(const Link& link, Stop& stop, const StopRef& owner) {
        if (owner.stop == &stop) {
            refuse(link, "a stop can't borrow from itself");
            return;
        }
        if (owner.stop->borrowed) {
            refuse(link, text_of({in_quotes(owner.stop->name),
                                  " has no pipes of its own; name the stop that has them"}));
            return;
        }
        *stop.borrowed = {owner.division->id, owner.stop->id};
        if (!link.own_feet) stop.footage = owner.stop->footage;
    }

    void join_reference(const Link& link, Stop& stop, const StopRef& other) {
        if (other.stop->mixture()) {
            refuse(link, text_of({in_quotes(other.stop->name),
                                  " is a mixture; a reference is a single rank"}));
            return;
        }
        stop.tuned_from[link.range].division = other.division->id;
        stop.tuned_from[link.range].stop = other.stop->id;
    }

    Instrument& instrument_;
    Mistakes& mistakes_;
};

// Pipes that an owner has beyond its keys must be played by some stop.
void refuse_idle_pipes(const Instrument& instrument, const StopPlaces& places, Mistakes& mistakes) {
    for (std::size_t d = 0; d < instrument.divisions.size(); ++d) {
        const Division& division = instrument.divisions[d];
        for (std::size_t s = 0; s < division.stops.size(); ++s) {
            const Stop& stop = division.stops[s];
            if (stop.extra_pipes == 0) continue;
            int highest = stop.last_key;
            for (const Division& other : instrument.divisions)
                for (const Stop& player : other.stops) {
                    if (!player.borrowed || player.borrowed->division != division.id ||
                        player.borrowed->stop != stop.id)
                        continue;
                    const int up = other.lowest_midi - division.lowest_midi +
                                   player.footage.semitones() - stop.footage.semitones();
                    highest = std::max(highest, player.last_key + up);
                }
            if (highest >= stop.last_key + stop.extra_pipes) continue;
            mistakes.add(places[d][s],
                         text_of({"no stop plays the pipes of ", in_quotes(stop.name),
                                  " above pipe ", std::to_string(highest),
                                  "; borrow them (\"borrowed_from\") or take them out of "
                                  "\"extra_pipes\""}));
        }
    }
}

}  // namespace

std::optional<StopRef> look_up(const Instrument& instrument, const Division* division,
                               const std::string& name, const toml::source_region& place,
                               Mistakes& mistakes) {
    if (division != nullptr) {
        const auto own = organ::find_stop(instrument, text_of({division->name, "/", name}));
        if (own) return *own;
    }
    const auto found = organ::find_stop(instrument, name);
    if (found) return *found;
    mistakes.add(place, found.error().message);
    return std::nullopt;
}

void join_stops(Instrument& instrument, const std::vector<Link>& links, const StopPlaces& places,
                Mistakes& mistakes) {
    Joiner joiner(instrument, mistakes);
    for (const Link& link : links)
        joiner.join(link);
    for (const Link& link : links) {
        if (link.role == Link::Role::borrowed) joiner.check_borrowing(link);
        if (link.role == Link::Role::celeste) joiner.check_celeste(link);
    }
    refuse_idle_pipes(instrument, places, mistakes);
    for (const Link& link : links)
        if (link.role == Link::Role::tuned_from) joiner.check_reference(link);
    refuse_circles(instrument, links, mistakes);
}

}  // namespace rankwright::storage

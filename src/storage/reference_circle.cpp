#include "storage/reference_circle.h"

#include "organ/note.h"

#include <algorithm>
#include <map>
#include <set>

namespace rankwright::storage {

namespace {

using organ::Instrument;
using organ::Stop;
using organ::StopRef;

// One pipe (of any row), and the link that names its reference.
struct Step {
    StopRef stop;
    int key = 1;
};

class CircleFinder {
  public:
    CircleFinder(const Instrument& instrument, const std::vector<Link>& links, Mistakes& mistakes)
        : instrument_(instrument), mistakes_(mistakes) {
        for (const Link& link : links)
            if (link.role == Link::Role::tuned_from)
                links_[{&instrument.divisions[link.division].stops[link.stop], link.range}] = &link;
    }

    void follow_all() {
        for (const organ::Division& division : instrument_.divisions)
            for (const Stop& stop : division.stops)
                for (int key = stop.first_key; !stop.tuned_from.empty() && key <= stop.last_key;
                     ++key)
                    follow({{&division, &stop, &instrument_}, key});
    }

  private:
    using Node = std::pair<const Stop*, int>;

    const organ::TunedFrom* range_of(const Step& step) const {
        const organ::TunedFrom* range = nullptr;
        for (const organ::TunedFrom& candidate : step.stop.stop->tuned_from)
            if (candidate.first_key <= step.key) range = &candidate;
        return range;
    }

    // The pipe from which this one is tuned.
    std::optional<Step> next(const Step& step) const {
        const organ::TunedFrom* range = range_of(step);
        if (range == nullptr || range->stop.empty()) return std::nullopt;
        const StopRef other = organ::stop_by_id(instrument_, range->division, range->stop);
        const int midi = step.stop.division->lowest_midi + step.key - 1 + range->semitones;
        const auto own = organ::own_pipe(other, midi - other.division->lowest_midi + 1);
        if (!own) return std::nullopt;
        return Step{own->owner, own->number};
    }

    void follow(Step step) {
        std::vector<Step> way;
        std::set<Node> on_way;
        for (;;) {
            const Node node{step.stop.stop, step.key};
            if (done_.count(node) > 0) break;
            if (!on_way.insert(node).second) {
                const auto start = std::find_if(way.begin(), way.end(), [&](const Step& s) {
                    return Node{s.stop.stop, s.key} == node;
                });
                report({start, way.end()});
                break;
            }
            way.push_back(step);
            const auto onward = next(step);
            if (!onward) break;
            step = *onward;
        }
        done_.insert(on_way.begin(), on_way.end());
    }

    void report(const std::vector<Step>& circle) {
        const Link* first = nullptr;
        std::string words;
        for (const Step& step : circle) {
            const auto range =
                static_cast<std::size_t>(range_of(step) - step.stop.stop->tuned_from.data());
            const Link* link = links_.at({step.stop.stop, range});
            if (first == nullptr || link->place.begin.line < first->place.begin.line) first = link;
            words += text_of({"\"", step.stop.stop->name, "\" from "});
        }
        if (!reported_.insert(first).second) return;
        const Step& start = circle.front();
        mistakes_.add(first->place,
                      text_of({"tuned in a circle: ", words, "\"", start.stop.stop->name, "\" (",
                               organ::note_name(start.stop.division->lowest_midi + start.key - 1),
                               "); tune one of them from elsewhere"}));
    }

    const Instrument& instrument_;
    Mistakes& mistakes_;
    std::map<std::pair<const Stop*, std::size_t>, const Link*> links_;
    std::set<Node> done_;
    std::set<const Link*> reported_;
};

}  // namespace

void refuse_circles(const Instrument& instrument, const std::vector<Link>& links,
                    Mistakes& mistakes) {
    CircleFinder(instrument, links, mistakes).follow_all();
}

}  // namespace rankwright::storage

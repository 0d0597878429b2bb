#include "organ/tuning_order.h"

#include <algorithm>
#include <set>
#include <tuple>

namespace rankwright::organ {

namespace {

using Id = StopId;

Id id_of(const StopRef& ref) { return {ref.division->id, ref.stop->id}; }

/// The stops that must stand before this one.
std::set<Id> needs(const StopRef& ref) {
    std::set<Id> before;
    for (const TunedFrom& from : ref.stop->tuned_from)
        before.insert({from.division, from.stop});
    if (ref.stop->celeste)
        before.insert({ref.stop->celeste->mate_division, ref.stop->celeste->mate_stop});
    if (ref.stop->borrowed) before.insert({ref.stop->borrowed->division, ref.stop->borrowed->stop});
    before.erase(id_of(ref));
    return before;
}

bool is_reed(const Stop& stop) { return !stop.makes.empty() && stop.makes.front().make.reed(); }

}  // namespace

std::vector<StopRef> tuning_order(const Instrument& instrument) {
    std::vector<StopRef> left;
    for (const Division& division : instrument.divisions)
        for (const Stop& stop : division.stops)
            if (const StopRef ref{&division, &stop, &instrument}; !pipes(ref).empty())
                left.push_back(ref);
    std::stable_sort(left.begin(), left.end(), [](const StopRef& a, const StopRef& b) {
        const auto key = [](const StopRef& ref) {
            return std::tuple(is_reed(*ref.stop), ref.stop->level.value_or(ref.division->level));
        };
        return key(a) < key(b);
    });
    std::vector<StopRef> order;
    while (!left.empty()) {
        std::set<Id> waiting;
        for (const StopRef& ref : left)
            waiting.insert(id_of(ref));
        const auto ready = std::find_if(left.begin(), left.end(), [&](const StopRef& ref) {
            const auto before = needs(ref);
            return std::none_of(before.begin(), before.end(),
                                [&](const Id& id) { return waiting.count(id) > 0; });
        });
        // Files with circles are refused; a circle made otherwise is cut at its first stop.
        const auto next = ready == left.end() ? left.begin() : ready;
        order.push_back(*next);
        left.erase(next);
    }
    return order;
}

}  // namespace rankwright::organ

#include "organ/tuning_order.h"

#include "organ/reference.h"
#include "organ/walking_order.h"

#include <algorithm>
#include <map>
#include <set>
#include <tuple>
#include <utility>

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

// Depth first: each pipe after its reference, the rest as they come.
class ReferencesFirst {
  public:
    ReferencesFirst(const Instrument& instrument, std::vector<Pipe> pipes)
        : instrument_(instrument), pipes_(std::move(pipes)), taken_(pipes_.size(), false) {
        for (std::size_t i = 0; i < pipes_.size(); ++i)
            index_.emplace(pipes_[i].id, i);
    }
    std::vector<Pipe> order() {
        for (std::size_t i = 0; i < pipes_.size(); ++i)
            take(i);
        return std::move(out_);
    }

  private:
    void take(std::size_t i) {
        if (taken_[i]) return;
        taken_[i] = true;  // before its reference: a circle ends here
        if (const auto reference = reference_of(instrument_, pipes_[i], {}))
            if (const auto found = index_.find(reference->pipe.id); found != index_.end())
                take(found->second);
        out_.push_back(pipes_[i]);
    }

    const Instrument& instrument_;
    std::vector<Pipe> pipes_;
    std::vector<bool> taken_;
    std::map<PipeId, std::size_t> index_;
    std::vector<Pipe> out_;
};

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

std::vector<Pipe> order_of_work(const Instrument& instrument, std::vector<Pipe> pipes) {
    std::map<Id, std::size_t> place;
    for (const StopRef& ref : tuning_order(instrument))
        place.emplace(id_of(ref), place.size());
    const auto place_of = [&](const Pipe& pipe) {
        const auto found = place.find({pipe.id.division, pipe.id.stop});
        return found == place.end() ? place.size() : found->second;
    };
    pipes = walking_order(instrument, std::move(pipes));
    std::stable_sort(pipes.begin(), pipes.end(),
                     [&](const Pipe& a, const Pipe& b) { return place_of(a) < place_of(b); });
    return ReferencesFirst(instrument, std::move(pipes)).order();
}

}  // namespace rankwright::organ

#include "organ/walking_order.h"

#include <algorithm>
#include <cassert>
#include <map>

namespace rankwright::organ {

namespace {

// The standing order of each stop, worked out once.
class Plan {
  public:
    explicit Plan(const Instrument& instrument) : instrument_(instrument) {}

    Standing of(const PipeId& pipe) {
        const StopRef ref = stop_by_id(instrument_, pipe.division, pipe.stop);
        assert(ref.stop != nullptr);
        const Division& division = *ref.division;
        const Stop& stop = *ref.stop;
        auto [known, fresh] = orders_.try_emplace(&stop);
        StandingOrder& order = known->second;
        if (fresh)
            // Over the whole keyboard, so that the places of long and short ranks compare.
            order = standing_order(stop.chest.value_or(division.chest), 1,
                                   std::max(division.keys, stop.last_key + stop.extra_pipes),
                                   division.lowest_midi);
        const auto at = std::find(order.keys.begin(), order.keys.end(), pipe.key);
        Standing standing;
        standing.level = stop.level.value_or(division.level);
        standing.division = static_cast<std::size_t>(&division - instrument_.divisions.data());
        standing.stop = static_cast<std::size_t>(&stop - division.stops.data());
        standing.place = static_cast<std::size_t>(at - order.keys.begin());
        standing.side = order.other_side != 0 && standing.place >= order.other_side ? 1 : 0;
        standing.row = pipe.row;
        return standing;
    }

  private:
    const Instrument& instrument_;
    std::map<const Stop*, StandingOrder> orders_;
};

}  // namespace

Standing standing_of(const Instrument& instrument, const PipeId& pipe) {
    return Plan(instrument).of(pipe);
}

std::vector<Pipe> walking_order(const Instrument& instrument, std::vector<Pipe> pipes) {
    Plan plan(instrument);
    std::vector<std::pair<Standing, std::size_t>> order;
    for (std::size_t i = 0; i < pipes.size(); ++i)
        order.emplace_back(plan.of(pipes[i].id), i);
    std::sort(order.begin(), order.end());
    std::vector<Pipe> out;
    for (const auto& [standing, index] : order)
        out.push_back(std::move(pipes[index]));
    return out;
}

}  // namespace rankwright::organ

#include "app/simulated_chamber.h"

#include "capture/simulated_source.h"
#include "simulator/simulated_helper.h"

#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::app {

namespace {

using Stop = std::pair<std::string, std::string>;  // division, stop

// How long the helper lets the reference sound alone before drawing the stop that is tuned.
constexpr Seconds kReferenceAlone{2.0};

// The first is the one that is tuned, a second its reference.
void draw_only(simulator::SimulatedHelper& helper, std::vector<Stop>& drawn,
               const std::vector<Stop>& wanted) {
    if (drawn == wanted) return;
    for (const auto& [division, stop] : drawn) {
        helper.hold_back(division, stop, Seconds{0.0});
        helper.draw(division, stop, false);
    }
    if (wanted.size() > 1) helper.draw(wanted.back().first, wanted.back().second, true);
    helper.hold_back(wanted.front().first, wanted.front().second,
                     wanted.size() > 1 ? kReferenceAlone : Seconds{0.0});
    drawn = wanted;
}

void take_call(simulator::SimulatedHelper& helper, std::vector<Stop>& drawn,
               const organ::Pipe& pipe, const std::optional<organ::Pipe>& reference) {
    const Stop tuned{pipe.division, pipe.stop};
    std::vector<Stop> wanted{tuned};
    if (reference && Stop{reference->division, reference->stop} != tuned)
        wanted.push_back({reference->division, reference->stop});
    draw_only(helper, drawn, wanted);
    const bool one_key =
        !reference || (reference->division == pipe.division && reference->key == pipe.key);
    if (one_key)
        helper.call(pipe.division, pipe.key);
    else
        helper.call({pipe.division, pipe.key}, {reference->division, reference->key});
}

// About two seconds a key, as for a survey.
void play_through(simulator::SimulatedHelper& helper, std::vector<Stop>& drawn,
                  const std::vector<organ::Pipe>& pipes) {
    constexpr Seconds kHold{2.0};
    draw_only(helper, drawn, {{pipes.front().division, pipes.front().stop}});
    std::vector<simulator::SimulatedHelper::Key> keys;
    keys.reserve(pipes.size());
    for (const organ::Pipe& pipe : pipes)
        keys.push_back({pipe.division, pipe.key});
    helper.play(std::move(keys), kHold);
}

void place_mutes(simulator::Chamber& chamber, const std::set<PipeId>& wanted,
                 std::optional<Decibels> leak) {
    const std::vector<PipeId> before = chamber.muted();
    for (const PipeId& pipe : before)
        if (wanted.count(pipe) == 0) chamber.take_mute_out(pipe);
    for (const PipeId& pipe : wanted) {
        // What sits badly is put in anew.
        chamber.put_mute_in(pipe, std::exchange(leak, std::nullopt));
    }
}

}  // namespace

SimulatedChamber simulate_chamber(const organ::Instrument& instrument,
                                  const simulator::Chamber::Parameters& parameters, bool paced) {
    using simulator::Chamber;
    // The helper lives on the thread that renders: told and advanced there only.
    const auto helper = std::make_shared<simulator::SimulatedHelper>(
        simulator::SimulatedHelper::Parameters{.seed = parameters.seed});
    const auto drawn = std::make_shared<std::vector<Stop>>();

    capture::SimulationOptions options;
    options.paced = paced;
    options.each_block = [helper](Chamber& chamber, Seconds now) { helper->advance(chamber, now); };
    auto source = capture::open_simulated(instrument, parameters, options);

    Console console;
    capture::SimulatedSource* orders = source.get();
    console.call = [orders, helper, drawn](const organ::Pipe& pipe,
                                           const std::optional<organ::Pipe>& reference) {
        orders->post([helper, drawn, pipe, reference](Chamber&) {
            take_call(*helper, *drawn, pipe, reference);
        });
    };
    console.play = [orders, helper, drawn](const std::vector<organ::Pipe>& pipes) {
        orders->post([helper, drawn, pipes](Chamber&) { play_through(*helper, *drawn, pipes); });
    };
    console.move_device = [orders](const PipeId& pipe, Millimetres up) {
        orders->post([pipe, up](Chamber& chamber) { chamber.move_device(pipe, up); });
    };
    console.place_mutes = [orders](const std::set<PipeId>& wanted, std::optional<Decibels> leak) {
        orders->post([wanted, leak](Chamber& chamber) { place_mutes(chamber, wanted, leak); });
    };
    console.set_temperature = [orders](Celsius air) {
        orders->post([air](Chamber& chamber) { chamber.set_temperature(air); });
    };
    return {std::move(source), std::move(console)};
}

}  // namespace rankwright::app

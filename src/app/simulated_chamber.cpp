#include "app/simulated_chamber.h"

#include "capture/simulated_source.h"
#include "simulator/simulated_helper.h"

#include <optional>
#include <utility>

namespace rankwright::app {

SimulatedChamber simulate_chamber(const organ::Instrument& instrument,
                                  const simulator::Chamber::Parameters& parameters) {
    using simulator::Chamber;
    // The helper lives on the thread that renders: told and advanced there only.
    const auto helper = std::make_shared<simulator::SimulatedHelper>(
        simulator::SimulatedHelper::Parameters{.seed = parameters.seed});
    const auto drawn = std::make_shared<std::optional<std::pair<std::string, std::string>>>();

    capture::SimulationOptions options;
    options.each_block = [helper](Chamber& chamber, Seconds now) { helper->advance(chamber, now); };
    auto source = capture::open_simulated(instrument, parameters, options);

    Console console;
    capture::SimulatedSource* orders = source.get();
    console.call = [orders, helper, drawn](const organ::Pipe& pipe) {
        orders->post([helper, drawn, pipe](Chamber&) {
            const std::pair wanted{pipe.division, pipe.stop};
            if (*drawn != wanted) {
                if (*drawn) helper->draw((*drawn)->first, (*drawn)->second, false);
                helper->draw(wanted.first, wanted.second, true);
                *drawn = wanted;
            }
            helper->call(pipe.division, pipe.key);
        });
    };
    console.move_device = [orders](const PipeId& pipe, Millimetres up) {
        orders->post([pipe, up](Chamber& chamber) { chamber.move_device(pipe, up); });
    };
    console.set_temperature = [orders](Celsius air) {
        orders->post([air](Chamber& chamber) { chamber.set_temperature(air); });
    };
    return {std::move(source), std::move(console)};
}

}  // namespace rankwright::app

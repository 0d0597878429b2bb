// Sound from a simulated chamber, through the interface of the live input.
#pragma once

#include "capture/source.h"
#include "simulator/chamber.h"

#include <functional>
#include <memory>

namespace rankwright::capture {

/// A chamber that plays by itself and takes orders from any thread.
class SimulatedSource : public Source {
  public:
    using Order = std::function<void(simulator::Chamber&)>;
    /// The order is carried out between two blocks, on the thread that renders, in the order of
    /// posting. It must not call back into the source. [any]
    virtual void post(Order order) = 0;
};

struct SimulationOptions {
    /// By the clock, on a thread of its own, as a microphone would; or rendered as it is read.
    bool paced = true;
    /// Called before every block with the time since the start, on the thread that renders.
    std::function<void(simulator::Chamber&, Seconds)> each_block;
};

/// The rate and the channels are those of `parameters`. Destroying the source stops its thread.
std::unique_ptr<SimulatedSource> open_simulated(const organ::Instrument& instrument,
                                                const simulator::Chamber::Parameters& parameters,
                                                const SimulationOptions& options = {});

}  // namespace rankwright::capture

// The simulated technician at the real screen: reads the snapshot that is drawn, and nothing else.
#pragma once

#include "overlay/snapshot.h"
#include "simulator/simulated_technician.h"
#include "visit/command.h"

#include <cstdint>
#include <optional>

namespace rankwright::app {

class ScreenReader {
  public:
    explicit ScreenReader(std::uint64_t seed) : technician_({.seed = seed}) {}
    /// A look at the screen; the command that the technician gives, if any.
    std::optional<visit::Command> look(const overlay::Snapshot& snapshot, Seconds now);

  private:
    simulator::SimulatedTechnician technician_;
    std::optional<int> key_;
};

}  // namespace rankwright::app

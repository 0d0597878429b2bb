// The simulated technician at the real screen: reads the snapshot that is drawn, and nothing else.
#pragma once

#include "overlay/snapshot.h"
#include "simulator/simulated_technician.h"
#include "visit/command.h"

#include <cstdint>
#include <optional>
#include <string>

namespace rankwright::app {

class ScreenReader {
  public:
    explicit ScreenReader(std::uint64_t seed) : technician_({.seed = seed}) {}
    /// A look at the screen; the command that the technician gives, if any. Where it says that
    /// nothing is left, the visit is over.
    std::optional<visit::Command> look(const overlay::Snapshot& snapshot, Seconds now);

  private:
    /// At a mixture the hands first do what the screen says of the mutes. Empty when nothing is to
    /// be done, or not yet; `busy_` then tells which.
    std::optional<visit::Command> look_at_mutes(const overlay::MixtureKey& mixture, int key,
                                                bool others_sound, Seconds now);

    /// A pipe that can't be settled: it is heard alone first, then left open.
    visit::Command leave(const overlay::Snapshot& snapshot);
    /// Notes a pipe as dead whose key the helper holds and that isn't heard.
    std::optional<visit::Command> listen_for_nothing(const overlay::Snapshot& snapshot,
                                                     Seconds now);

    simulator::SimulatedTechnician technician_;
    std::optional<std::string> pipe_;    ///< turned to
    std::optional<std::string> placed_;  ///< what the mutes were last put in for
    std::optional<Seconds> hands_done_;  ///< they are being moved until then
    Seconds looks_again_{0.0};           ///< at how the mutes sit
    bool busy_ = false;
    std::optional<Seconds> silent_since_;  ///< though the key was called
    bool tried_alone_ = false;             ///< the pipe in hand, without its reference
};

}  // namespace rankwright::app

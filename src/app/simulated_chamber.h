// Sound and console of a simulated chamber, in place of a microphone and a helper.
#pragma once

#include "app/work.h"
#include "capture/simulated_source.h"
#include "organ/instrument.h"
#include "simulator/chamber.h"

#include <memory>

namespace rankwright::app {

struct SimulatedChamber {
    std::unique_ptr<capture::SimulatedSource> source;
    Console console;  ///< usable as long as the source
};

/// A chamber with a helper at the console who holds the key that is called, with the stops drawn
/// that it needs. `seed` decides how its pipes are out of tune. `paced`: by the clock, or as fast
/// as it is read.
SimulatedChamber simulate_chamber(const organ::Instrument& instrument,
                                  const simulator::Chamber::Parameters& parameters,
                                  bool paced = true);

}  // namespace rankwright::app

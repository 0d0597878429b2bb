// Tones that stand where a key's pipe would, if it were farther off than it was looked for.
#pragma once

#include "listening/mixture/lines.h"
#include "listening/mixture/mixture.h"

namespace rankwright::listening {

/// A pipe beside which such a tone stands, up to 60 cents off and no partial of what sounds, isn't
/// silent for all that is known, nor heard where something far softer is: "cannot tell".
void name_strays(MixtureReading& reading, const MixtureSound& sound, const MixtureRequest& request);

}  // namespace rankwright::listening

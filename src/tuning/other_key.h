// Which key sounds, by how far it stands from the pipes' targets.
#pragma once

#include "core/units.h"

namespace rankwright::tuning {

/// A pipe further than this from its target is taken for another key's.
constexpr Cents kOtherKey{60.0};
/// And is that key's within this of that key's target.
constexpr Cents kSameKey{45.0};

}  // namespace rankwright::tuning

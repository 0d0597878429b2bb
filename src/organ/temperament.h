// Where the twelve notes of the octave lie.
#pragma once

#include "core/units.h"

#include <array>
#include <string>

namespace rankwright::organ {

/// Cents from equal temperament for C, C♯ … B, with A = 0.
struct Temperament {
    std::string name = "equal";
    std::array<Cents, 12> from_equal{};
};

}  // namespace rankwright::organ

// GLFW's keys as the overlay's.
#pragma once

#include "overlay/key.h"

#include <optional>

namespace rankwright::app {

/// The press that a GLFW key event means; empty for releases and for keys without a meaning.
/// Letters go by what the keyboard's layout prints on the key, not by its place.
std::optional<overlay::KeyPress> key_press(int key, int scancode, int action, int mods);

}  // namespace rankwright::app

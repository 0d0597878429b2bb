// The plate in the middle on which something is typed or asked.
#pragma once

#include "overlay/canvas.h"

namespace rankwright::overlay {

/// Dims `place` and draws a plate of that size in its middle; gives where the plate lies.
Rect draw_plate(Canvas& canvas, const Rect& place, float wide, float high);

}  // namespace rankwright::overlay

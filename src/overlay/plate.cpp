#include "overlay/plate.h"

#include "overlay/theme.h"

namespace rankwright::overlay {

Rect draw_plate(Canvas& canvas, const Rect& place, float wide, float high) {
    const Point middle = place.centre();
    const Rect plate{middle.x - wide / 2, middle.y - high / 2, middle.x + wide / 2,
                     middle.y + high / 2};
    canvas.fill(place, IM_COL32(0, 0, 0, 190));
    canvas.fill(plate, kPlate, 12);
    canvas.outline(plate, kGrey, 3, 12);
    return plate;
}

}  // namespace rankwright::overlay

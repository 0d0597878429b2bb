#include "overlay/panels.h"
#include "overlay/pipe_shape.h"

namespace rankwright::overlay {

namespace {

// How far the ghost of the device stands from it, in the way to move.
float ghost_shift(organ::Way way) {
    constexpr float kAlong = 30.0F;
    constexpr float kAcross = 11.0F;
    switch (way) {
        case organ::Way::up:
            return kAlong;
        case organ::Way::down:
            return -kAlong;
        case organ::Way::out:
            return kAcross;
        case organ::Way::in:
            return -kAcross;
        case organ::Way::none:
            break;
    }
    return 0.0F;
}

ImU32 faded(ImU32 colour) {
    constexpr ImU32 kThird = 0x60U;
    return (colour & ~IM_COL32_A_MASK) | (kThird << IM_COL32_A_SHIFT);
}

}  // namespace

void draw_pipe(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    if (snapshot.stop.empty()) return;
    const PipeShape shape = shape_of(place, snapshot.kind, snapshot.material);
    const bool moving_it = snapshot.stage == Stage::reading || snapshot.stage == Stage::moving;
    const bool advised = moving_it && snapshot.deviation && snapshot.advice.way != organ::Way::none;
    const ImU32 hue = advised ? colour_of(sense_of(snapshot)) : kPale;
    draw_body(canvas, shape, snapshot.kind);
    if (advised)
        draw_device(canvas, shape, snapshot.device, ghost_shift(snapshot.advice.way), faded(hue),
                    2.5F);
    draw_device(canvas, shape, snapshot.device, 0.0F, hue, 5.0F);
}

}  // namespace rankwright::overlay

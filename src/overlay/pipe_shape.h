// The outline of a drawn pipe, and where its tuning device sits on it.
#pragma once

#include "overlay/canvas.h"
#include "overlay/layout.h"
#include "overlay/snapshot.h"

namespace rankwright::overlay {

struct PipeShape {
    float middle = 0.0F;       ///< x of the axis
    float top = 0.0F;          ///< y of the upper end of body or resonator
    float mouth = 0.0F;        ///< y of the lower lip; of a reed: the top of the boot
    float base = 0.0F;         ///< y of the toe
    float half_at_top = 0.0F;  ///< half the width at the upper end
    float half_below = 0.0F;   ///< half the width at the mouth, or of the resonator at the block
    bool reed = false;
    bool wood = false;
};

PipeShape shape_of(const Rect& place, organ::PipeKind kind, organ::Material material);

/// The pipe without its device.
void draw_body(Canvas& canvas, const PipeShape& shape, organ::PipeKind kind);

/// The device alone, moved by `shift` (positive = up, or out).
void draw_device(Canvas& canvas, const PipeShape& shape, organ::TuningDevice device, float shift,
                 ImU32 colour, float stroke);

}  // namespace rankwright::overlay

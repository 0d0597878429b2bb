#include "overlay/pipe_shape.h"

namespace rankwright::overlay {

namespace {

constexpr float kStroke = 3.5F;
constexpr float kBootHalf = 27.0F;
constexpr float kBootHeight = 108.0F;

void draw_flue(Canvas& canvas, const PipeShape& s) {
    const float upper_lip = s.mouth - 20;
    const float lip = s.half_below * 0.72F;
    canvas.path({{s.middle - s.half_below, s.mouth},
                 {s.middle - s.half_below, upper_lip},
                 {s.middle - s.half_at_top, s.top},
                 {s.middle + s.half_at_top, s.top},
                 {s.middle + s.half_below, upper_lip},
                 {s.middle + s.half_below, s.mouth}},
                kPale, kStroke);
    canvas.fill({s.middle - lip, upper_lip, s.middle + lip, s.mouth - 3}, kEdge);
    if (s.wood) {
        canvas.line({s.middle - lip, upper_lip}, {s.middle + lip, upper_lip}, kPale, kStroke);
        // A block, and the turned foot below it.
        const float block = s.mouth + 26;
        canvas.path({{s.middle - s.half_below, s.mouth},
                     {s.middle + s.half_below, s.mouth},
                     {s.middle + s.half_below, block},
                     {s.middle - s.half_below, block}},
                    kPale, kStroke, true);
        canvas.path({{s.middle - 9, block},
                     {s.middle - 7, s.base},
                     {s.middle + 7, s.base},
                     {s.middle + 9, block}},
                    kPale, kStroke);
        // The grain tells wood from metal.
        for (const float x : {-0.35F, 0.3F})
            canvas.line({s.middle + s.half_at_top * x, s.top + 34},
                        {s.middle + s.half_at_top * x, upper_lip - 24}, kEdge, 2);
        return;
    }
    // The upper lip's arch.
    canvas.path({{s.middle - lip, upper_lip},
                 {s.middle - lip * 0.6F, upper_lip - 22},
                 {s.middle, upper_lip - 32},
                 {s.middle + lip * 0.6F, upper_lip - 22},
                 {s.middle + lip, upper_lip}},
                kPale, 2, true);
    canvas.path({{s.middle - s.half_below, s.mouth},
                 {s.middle + s.half_below, s.mouth},
                 {s.middle + 6, s.base},
                 {s.middle - 6, s.base}},
                kPale, kStroke, true);
}

void draw_reed(Canvas& canvas, const PipeShape& s) {
    // Resonator on its block, the boot below, cut open to show shallot and tongue.
    canvas.path({{s.middle - s.half_below, s.mouth - 16},
                 {s.middle - s.half_at_top, s.top},
                 {s.middle + s.half_at_top, s.top},
                 {s.middle + s.half_below, s.mouth - 16}},
                kPale, kStroke, true);
    canvas.fill({s.middle - kBootHalf - 3, s.mouth - 16, s.middle + kBootHalf + 3, s.mouth}, kPale);
    const float shoulder = s.mouth + kBootHeight - 34;
    canvas.path({{s.middle - kBootHalf, s.mouth},
                 {s.middle - kBootHalf, shoulder},
                 {s.middle - 7, s.base},
                 {s.middle + 7, s.base},
                 {s.middle + kBootHalf, shoulder},
                 {s.middle + kBootHalf, s.mouth}},
                kPale, kStroke);
    canvas.path({{s.middle - 12, s.mouth},
                 {s.middle - 12, s.mouth + 62},
                 {s.middle - 2, s.mouth + 62},
                 {s.middle - 2, s.mouth}},
                kFaint, 2.5F);
    canvas.path(
        {{s.middle + 2, s.mouth}, {s.middle + 3, s.mouth + 36}, {s.middle + 8, s.mouth + 64}},
        kPale, 3);
}

void draw_sleeve(Canvas& canvas, const PipeShape& s, float shift, ImU32 colour, float stroke) {
    const float half = s.half_at_top + 6;
    const Rect sleeve{s.middle - half, s.top - 26 - shift, s.middle + half, s.top + 40 - shift};
    canvas.fill(sleeve, kGround);
    canvas.outline(sleeve, colour, stroke);
}

void draw_scroll(Canvas& canvas, const PipeShape& s, float shift, ImU32 colour, float stroke) {
    const float slot = s.top + 84 - shift;
    canvas.outline({s.middle - 8, s.top + 12, s.middle + 8, slot}, colour, stroke * 0.7F);
    canvas.circle({s.middle, slot + 8}, 13, colour, stroke);
    canvas.circle({s.middle, slot + 8}, 5, colour, stroke * 0.7F);
}

void draw_wire(Canvas& canvas, const PipeShape& s, float shift, ImU32 colour, float stroke) {
    const float x = s.middle + 20;
    canvas.path({{x + 18, s.mouth - 76 - shift},
                 {x, s.mouth - 76 - shift},
                 {x, s.mouth + 44 - shift},
                 {s.middle + 5, s.mouth + 44 - shift}},
                colour, stroke * 1.3F);
}

}  // namespace

PipeShape shape_of(const Rect& place, organ::PipeKind kind, organ::Material material) {
    using organ::PipeKind;
    PipeShape s;
    s.middle = place.centre().x;
    s.base = place.bottom - 4;
    s.mouth = place.bottom - 104;
    s.top = place.top + 62;
    s.half_at_top = s.half_below = 27;
    s.wood = material == organ::Material::wood;
    s.reed = kind >= PipeKind::reed_full;
    const float length = s.mouth - s.top;
    switch (kind) {
        case PipeKind::open:
            break;
        case PipeKind::tapered:
            s.half_at_top = 15;
            s.half_below = 30;
            break;
        case PipeKind::stopped:
        case PipeKind::chimney:
            s.top += length * 0.42F;
            s.half_at_top = s.half_below = 33;
            break;
        case PipeKind::harmonic:
            s.half_at_top = s.half_below = 21;
            break;
        case PipeKind::string:
            s.half_at_top = s.half_below = 14;
            break;
        case PipeKind::reed_full:
            s.half_at_top = 38;
            s.half_below = 8;
            break;
        case PipeKind::reed_half:
            s.top += length * 0.45F;
            s.half_at_top = 30;
            s.half_below = 9;
            break;
        case PipeKind::reed_short:
            s.top += length * 0.68F;
            s.half_at_top = 20;
            s.half_below = 14;
            break;
    }
    return s;
}

void draw_body(Canvas& canvas, const PipeShape& shape, organ::PipeKind kind) {
    if (shape.reed) {
        draw_reed(canvas, shape);
        return;
    }
    draw_flue(canvas, shape);
    if (kind == organ::PipeKind::chimney)
        canvas.outline({shape.middle - 8, shape.top - 78, shape.middle + 8, shape.top}, kPale, 3);
    if (kind == organ::PipeKind::harmonic)
        canvas.circle({shape.middle, (shape.top + shape.mouth) / 2}, 6, kPale, 3);
    if (kind == organ::PipeKind::string)  // the bridge before the mouth
        canvas.fill({shape.middle - 22, shape.mouth - 18, shape.middle + 22, shape.mouth - 9},
                    kPale, 4);
}

void draw_device(Canvas& canvas, const PipeShape& s, organ::TuningDevice device, float shift,
                 ImU32 colour, float stroke) {
    using organ::TuningDevice;
    const float half = s.half_at_top;
    switch (device) {
        case TuningDevice::sleeve:
        case TuningDevice::resonator_sleeve:
            draw_sleeve(canvas, s, shift, colour, stroke);
            break;
        case TuningDevice::slide:
            draw_sleeve(canvas, s, shift, colour, stroke);
            canvas.line({s.middle - half - 6, s.top + 22 - shift},
                        {s.middle + half + 6, s.top + 22 - shift}, colour, stroke * 0.7F);
            break;
        case TuningDevice::cap:
            canvas.path({{s.middle - half - 7, s.top + 44 - shift},
                         {s.middle - half - 7, s.top - 12 - shift},
                         {s.middle + half + 7, s.top - 12 - shift},
                         {s.middle + half + 7, s.top + 44 - shift}},
                        colour, stroke);
            break;
        case TuningDevice::stopper:
            canvas.outline(
                {s.middle - half + 5, s.top + 16 - shift, s.middle + half - 5, s.top + 58 - shift},
                colour, stroke);
            canvas.fill({s.middle - 6, s.top - 38 - shift, s.middle + 6, s.top + 16 - shift},
                        colour, 3);
            break;
        case TuningDevice::cone:
            canvas.path({{s.middle - half, s.top + 34},
                         {s.middle - half - shift, s.top},
                         {s.middle + half + shift, s.top},
                         {s.middle + half, s.top + 34}},
                        colour, stroke * 1.3F);
            break;
        case TuningDevice::scroll:
        case TuningDevice::resonator_scroll:
            draw_scroll(canvas, s, shift, colour, stroke);
            break;
        case TuningDevice::shade:
        case TuningDevice::flap:
            canvas.line({s.middle - half, s.top - 4}, {s.middle + half, s.top - 20 - shift}, colour,
                        device == TuningDevice::flap ? stroke * 2.2F : stroke * 1.4F);
            break;
        case TuningDevice::ears:
            for (const float side : {-1.0F, 1.0F})
                canvas.path({{s.middle + side * half, s.mouth - 40},
                             {s.middle + side * (half + 11 + shift), s.mouth - 34},
                             {s.middle + side * (half + 11 + shift), s.mouth + 8},
                             {s.middle + side * half, s.mouth + 12}},
                            colour, stroke, true);
            break;
        case TuningDevice::reed_wire:
            break;
        case TuningDevice::none:
            return;
    }
    if (s.reed)
        draw_wire(canvas, s, device == TuningDevice::reed_wire ? shift : 0.0F,
                  device == TuningDevice::reed_wire ? colour : kPale, stroke);
}

}  // namespace rankwright::overlay

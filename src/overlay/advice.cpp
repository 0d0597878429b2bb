#include "overlay/panels.h"

namespace rankwright::overlay {

namespace {

void draw_way(Canvas& canvas, const Rect& place, organ::Way way, ImU32 hue) {
    constexpr float kStroke = 17.0F;
    const Point middle = place.centre();
    switch (way) {
        case organ::Way::up:
            canvas.arrow({middle.x, place.bottom}, {middle.x, place.top}, hue, kStroke);
            break;
        case organ::Way::down:
            canvas.arrow({middle.x, place.top}, {middle.x, place.bottom}, hue, kStroke);
            break;
        case organ::Way::in:
            canvas.arrow({place.left, middle.y}, {middle.x - 12, middle.y}, hue, kStroke);
            canvas.arrow({place.right, middle.y}, {middle.x + 12, middle.y}, hue, kStroke);
            break;
        case organ::Way::out:
            canvas.arrow({middle.x - 16, middle.y}, {place.left, middle.y}, hue, kStroke);
            canvas.arrow({middle.x + 16, middle.y}, {place.right, middle.y}, hue, kStroke);
            break;
        case organ::Way::none:
            break;
    }
}

bool advises(const Snapshot& snapshot) {
    return (snapshot.stage == Stage::reading || snapshot.stage == Stage::moving ||
            snapshot.stage == Stage::disturbed) &&
           snapshot.deviation && !snapshot.advice.words.empty();
}

}  // namespace

void draw_advice(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    if (snapshot.stage == Stage::settled) {
        canvas.paragraph({place.left, place.top + 60, place.right, place.top + 240},
                         {kLadder, kPale, true}, kLadder, "hands off");
        return;
    }
    if (!advises(snapshot)) return;
    const ImU32 hue = snapshot.stage == Stage::disturbed ? kGrey : colour_of(sense_of(snapshot));
    const organ::Movement& advice = snapshot.advice;
    const MovementParts parts = movement_parts(advice.words);
    float baseline = place.top + 300;
    if (advice.way != organ::Way::none)
        draw_way(canvas, {place.left + 10, place.top + 10, place.right - 14, place.top + 224},
                 advice.way, hue);
    if (parts.way.empty()) {
        baseline = canvas.paragraph({place.left, place.top + 60, place.right, place.top + 340},
                                    {kLadder, kPale, true}, kLarge, parts.device);
    } else {
        const TextStyle device{kLadder, hue, true};
        const Rect lines{place.left, baseline - kLadder * 0.93F, place.right, baseline + kLadder};
        baseline = canvas.paragraph(lines, device, kLarge, parts.device) + 74;
        canvas.text_within({place.left, baseline}, place.width(), {74, hue, true}, kLadder,
                           parts.way);
    }
    baseline += 16;
    const Rect below{place.left, baseline, place.right, place.bottom};
    if (!snapshot.amount.empty())
        baseline = canvas.paragraph({below.left, below.top, below.right, below.top + 92},
                                    {kLarge, kPale}, kSmall, snapshot.amount) +
                   12;
    if (!advice.caution.empty() && place.bottom - baseline > 30)
        canvas.paragraph({place.left, baseline + 4, place.right, place.bottom}, {24, kGrey}, kSmall,
                         advice.caution);
}

}  // namespace rankwright::overlay

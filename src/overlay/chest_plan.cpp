#include "overlay/panels.h"

#include <algorithm>
#include <cmath>

namespace rankwright::overlay {

namespace {

// A block grows with the root of the deviation, so that half a cent is seen and twenty fit.
constexpr float kTallestBlock = 26.0F;
constexpr float kMostCents = 20.0F;

float block_height(double cents) {
    const double share = std::sqrt(std::min(1.0, std::abs(cents) / kMostCents));
    return std::max(3.0F, static_cast<float>(share) * kTallestBlock);
}

struct Standing {
    float left;
    float right;
    float top;
    float foot;  ///< where the foot begins
    float base;
};

void draw_standing(Canvas& canvas, const Standing& at, const ChestPipe& pipe) {
    const float middle = (at.left + at.right) / 2;
    const ImU32 body = pipe.current ? kPale : pipe.kept ? kFaint : kGround;
    const ImU32 edge = pipe.again ? kPale : kFaint;  // tuned, but still warm
    const Rect tube{at.left, at.top, at.right, at.foot};
    if (pipe.current || pipe.kept) {
        canvas.fill(tube, body);
        canvas.shape(
            {{at.left, at.foot}, {at.right, at.foot}, {middle + 1, at.base}, {middle - 1, at.base}},
            body);
        canvas.line({at.left, at.foot}, {at.right, at.foot}, kGround, 2);
    } else {
        canvas.path({{at.left, at.foot},
                     {at.left, at.top},
                     {at.right, at.top},
                     {at.right, at.foot},
                     {middle, at.base}},
                    edge, 1.5F, true);
        canvas.line({at.left, at.foot}, {at.right, at.foot}, edge, 1.5F);
    }
    // Crossed out: nobody gets there. A notch in the foot: something is wrong with it.
    if (pipe.out_of_reach) {
        canvas.line({at.left - 2, at.foot}, {at.right + 2, at.foot - 2 * (at.right - at.left)},
                    kGrey, 2.5F);
        canvas.line({at.right + 2, at.foot}, {at.left - 2, at.foot - 2 * (at.right - at.left)},
                    kGrey, 2.5F);
    }
    if (pipe.faulty) canvas.fill({at.left, at.base - 6, at.right, at.base}, kWarm);
    if (pipe.deviation && pipe.deviation->value() != 0.0) {
        const double cents = pipe.deviation->value();
        const float high = block_height(cents);
        if (cents > 0)
            canvas.fill({at.left, at.top - 3 - high, at.right, at.top - 3}, kWarm);
        else
            canvas.fill({at.left, at.top + 3, at.right, std::min(at.foot - 2, at.top + 3 + high)},
                        kCool);
    }
    if (pipe.last_time) {
        const double cents = pipe.last_time->value();
        const float high = block_height(cents);
        const float y = cents > 0 ? at.top - 3 - high : std::min(at.foot - 2, at.top + 3 + high);
        canvas.line({at.left - 2, y}, {at.right + 2, y}, kGrey, 2);
    }
}

}  // namespace

void draw_chest(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kPlate);
    if (snapshot.chest.empty()) return;
    const float base = place.bottom - 10;
    const float foot = base - 20;
    const float tallest = foot - (place.top + 38);
    const auto count = static_cast<float>(snapshot.chest.size());
    const bool sides = std::any_of(snapshot.chest.begin(), snapshot.chest.end(),
                                   [](const ChestPipe& pipe) { return pipe.starts_side; });
    const float walkboard = sides ? 44.0F : 0.0F;
    const float left = place.left + 24;
    const float step = std::min(48.0F, (place.width() - 48 - walkboard) / count);
    float x = left + std::max(0.0F, (place.width() - 48 - walkboard - step * count) / 2);
    canvas.line({left, base + 2}, {place.right - 24, base + 2}, kEdge, 3);
    float lit = place.left + place.width() / 2;
    for (const ChestPipe& pipe : snapshot.chest) {
        if (pipe.starts_side) x += walkboard;
        const float wide = step * 0.66F;
        // Under half the height, so that a flat block still finds room in the shortest pipe.
        const float high = std::max(0.2F, std::clamp(pipe.height, 0.0F, 1.0F)) * tallest;
        const Standing at{x, x + wide, foot - high, foot, base};
        draw_standing(canvas, at, pipe);
        if (pipe.current) {
            lit = x + wide / 2;
            const float clear = pipe.deviation && pipe.deviation->value() > 0
                                    ? block_height(pipe.deviation->value()) + 4
                                    : 0.0F;
            canvas.text({x + wide / 2, std::max(place.top + 26, at.top - clear - 9)},
                        {kBody, kPale, true, Align::centre}, pipe.note);
        }
        x += step;
    }
    // A side's name gives way to the note that is called at its end.
    constexpr float kNameWidth = 140.0F;
    if (lit > left + kNameWidth)
        canvas.text({left, place.top + 25}, {kSmall, kGrey}, snapshot.left_side);
    if (lit < place.right - 24 - kNameWidth)
        canvas.text({place.right - 24, place.top + 25}, {kSmall, kGrey, false, Align::right},
                    snapshot.right_side);
}

}  // namespace rankwright::overlay

#include "overlay/panels.h"
#include "overlay/theme.h"

#include <algorithm>
#include <string>

namespace rankwright::overlay {

// The stops are said again only where they change.
void draw_call_list(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kGround);
    const Rect page{place.left + 40, place.top + 14, place.right - 40, place.bottom - 44};
    constexpr float kStops = 52.0F;
    constexpr float kNow = 122.0F;
    constexpr float kLater = 72.0F;
    float top = page.top;
    std::string stops;
    for (std::size_t i = 0; i < snapshot.calls.size(); ++i) {
        const NextCall& call = snapshot.calls[i];
        const bool now = i == 0;
        const float row = now ? kNow : kLater;
        const bool other = call.stops != stops;
        if (top + row + (other ? kStops : 0.0F) > page.bottom) break;
        if (other) {
            canvas.text_within({page.left, top + 40}, page.width(), {kLarge, kGrey}, kBody,
                               "draw " + call.stops);
            top += kStops;
            stops = call.stops;
        }
        const Rect line{page.left, top, page.right, top + row - 8};
        if (now) canvas.fill(line, kPale, 8);
        const ImU32 ink = now ? kGround : kPale;
        const float em = now ? kHuge : kLadder;
        const float baseline = line.bottom - row * 0.24F;
        const float least = line.width() * (call.also.empty() ? 0.7F : 0.42F);
        float left = line.left + 18;
        left += canvas.text_within({left, baseline}, least, {em, ink, true}, kLarge, call.key) + 26;
        left += canvas.text({left, baseline}, {kLarge, ink}, call.number) + 30;
        if (!call.also.empty())
            canvas.text_within({left, baseline}, line.right - left - 14, {kLarge, ink, true}, kBody,
                               call.also);
        top += row;
    }
    canvas.text_within({page.left, place.bottom - 14}, page.width(), {kSmall, kGrey}, kSmall * 0.8F,
                       "page down, page up: the work goes on · any other key: back");
}

}  // namespace rankwright::overlay

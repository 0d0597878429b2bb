// The panel after the last pipe, in place of pipe, figures, ribbons and call.
#include "overlay/panels.h"

#include <algorithm>
#include <string>

namespace rankwright::overlay {

namespace {

std::string pipes_words(std::size_t count) {
    return std::to_string(count) + (count == 1 ? " pipe" : " pipes");
}

std::string elsewhere_words(const EndView& end) {
    return pipes_words(static_cast<std::size_t>(end.elsewhere)) +
           " more on the list: leave, and start with --list";
}

// Why it stays, as briefly as can be read from the ladder.
std::string why_words(const ListLine& line) {
    if (line.out_of_reach) return "out of reach";
    return line.why.substr(0, line.why.find(" · "));
}

}  // namespace

void draw_end(Canvas& canvas, const Rect& place, const EndView& end) {
    constexpr float kRow = 64.0F;
    canvas.fill(place, kPlate, 10);
    const Rect inner = place.inset(26);
    draw_tick(canvas, {inner.left + 4, inner.top + 8, inner.left + 84, inner.top + 72}, kPale, 18);
    canvas.text_within({inner.left + 116, inner.top + 70}, inner.width() - 116,
                       {kHuge, kPale, true}, kLadder, "nothing else to tune");
    float baseline = inner.top + 146;
    const float foot = inner.bottom - (end.elsewhere > 0 ? 104 : 54);
    if (end.left.empty())
        canvas.text({inner.left, baseline}, {kLadder, kPale}, "every pipe is done");
    else
        canvas.text({inner.left, baseline}, {kLadder, kPale},
                    pipes_words(end.left.size()) +
                        (end.left.size() == 1 ? " stays as it is:" : " stay as they are:"));
    const auto room = static_cast<std::size_t>(std::max(1.0F, (foot - baseline - 20) / kRow));
    const bool all = end.left.size() <= room;
    const std::size_t shown = all ? end.left.size() : room - 1;
    const float middle = inner.left + inner.width() * 0.66F;
    for (std::size_t i = 0; i < shown; ++i) {
        baseline += kRow;
        const ListLine& line = end.left[i];
        canvas.text_within({inner.left, baseline}, middle - inner.left - 24, {kLadder, kPale, true},
                           kLarge, line.stop + ", " + line.note);
        canvas.text_within({middle, baseline}, inner.right - middle, {kLadder, kGrey}, kBody,
                           why_words(line));
    }
    if (!all)
        canvas.text({inner.left, baseline + kRow}, {kLadder, kGrey},
                    "and " + std::to_string(end.left.size() - shown) + " more: L");
    if (end.elsewhere > 0)
        canvas.text_within({inner.left, inner.bottom - 52}, inner.width(), {kLarge, kPale}, kBody,
                           elsewhere_words(end));
    canvas.text_within({inner.left, inner.bottom}, inner.width(), {kLadder, kPale, true}, kLarge,
                       "R: report · Q: mutes out, leave");
}

}  // namespace rankwright::overlay

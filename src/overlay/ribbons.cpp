#include "overlay/panels.h"
#include "overlay/ribbon_painter.h"

#include <algorithm>
#include <cmath>

namespace rankwright::overlay {

namespace {

constexpr float kLabelWidth = 64.0F;
constexpr float kAxisHeight = 24.0F;
constexpr float kCaptionHeight = 26.0F;

// The second marks stand in front of the ribbons too, dark, so that beads can be counted.
void draw_second_marks(Canvas& canvas, const Rect& chart, int seconds, double span, ImU32 colour) {
    for (int second = 0; second <= seconds; ++second) {
        const float x = chart.left + chart.width() * static_cast<float>(second / span);
        canvas.line({x, chart.top}, {x, chart.bottom + 4}, colour, 2);
    }
}

void draw_axis(Canvas& canvas, const Rect& place, const Rect& chart, int seconds, double span) {
    const float baseline = chart.bottom + 22;
    const float em = kSmall * 0.9F;
    canvas.text({place.left, baseline}, {em, kGrey}, "key down");
    for (int second = 1; second <= seconds; ++second) {
        const float x = chart.left + chart.width() * static_cast<float>(second / span);
        const bool last = second == seconds;
        canvas.text({x, baseline}, {em, kGrey, false, last ? Align::right : Align::centre},
                    std::to_string(second) + (last ? " s" : ""));
    }
}

}  // namespace

void draw_ribbons(Canvas& canvas, const Rect& place, const Snapshot& snapshot,
                  RibbonPainter& painter) {
    if (snapshot.ribbons.empty() || snapshot.ribbons.front().width.empty()) return;
    const Rect chart{place.left + kLabelWidth, place.top, place.right,
                     place.bottom - kAxisHeight - kCaptionHeight};
    const float band = chart.height() / static_cast<float>(snapshot.ribbons.size());
    const double span = std::max(1.0, snapshot.ribbon_span.count());
    const int seconds = static_cast<int>(span);
    draw_second_marks(canvas, chart, seconds, span, kEdge);
    const int columns =
        static_cast<int>(std::lround(span / std::max(1e-3, snapshot.ribbon_step.count())));
    painter.add(canvas.list(), canvas.pixels(chart), snapshot.ribbons, columns);
    constexpr ImU32 kShadow = IM_COL32(13, 15, 18, 150);
    draw_second_marks(canvas, chart, seconds, span, kShadow);

    for (std::size_t row = 0; row < snapshot.ribbons.size(); ++row)
        canvas.text({place.left, chart.top + band * (static_cast<float>(row) + 0.5F) + 8},
                    {kSmall, kGrey}, snapshot.ribbons[row].label);
    draw_axis(canvas, place, chart, seconds, span);
    canvas.text_within(
        {place.left, place.bottom - 6}, place.width(), {kSmall, kGrey}, kSmall * 0.8F,
        snapshot.reference.empty() ? "computed: so its partials would beat against a true pipe"
                                   : "heard where partials meet, reference:pipe");
}

}  // namespace rankwright::overlay

#include "overlay/panels.h"
#include "overlay/ribbon_painter.h"

#include <algorithm>
#include <cmath>

namespace rankwright::overlay {

namespace {
constexpr float kLabelWidth = 52.0F;
constexpr float kAxisHeight = 24.0F;
constexpr float kCaptionHeight = 26.0F;
}  // namespace

void draw_ribbons(Canvas& canvas, const Rect& place, const Snapshot& snapshot,
                  RibbonPainter& painter) {
    if (snapshot.ribbons.empty() || snapshot.ribbons.front().width.empty()) return;
    const Rect chart{place.left + kLabelWidth, place.top, place.right,
                     place.bottom - kAxisHeight - kCaptionHeight};
    const auto rows = static_cast<float>(snapshot.ribbons.size());
    const float band = chart.height() / rows;
    const double span = std::max(1.0, snapshot.ribbon_span.count());
    for (int second = 0; second <= static_cast<int>(span); ++second) {
        const float x = chart.left + chart.width() * static_cast<float>(second / span);
        canvas.line({x, chart.top}, {x, chart.bottom + 4}, kEdge, 1.5F);
        if (second > 0)
            canvas.text({x, chart.bottom + 22},
                        {kSmall * 0.9F, kGrey, false,
                         second == static_cast<int>(span) ? Align::right : Align::centre},
                        second == static_cast<int>(span) ? std::to_string(second) + " s"
                                                         : std::to_string(second));
    }
    canvas.text({chart.left, chart.bottom + 22}, {kSmall * 0.9F, kGrey, false, Align::right},
                "key down ");
    for (std::size_t row = 0; row < snapshot.ribbons.size(); ++row)
        canvas.text({place.left, chart.top + band * (static_cast<float>(row) + 0.5F) + 8},
                    {kSmall, kGrey}, snapshot.ribbons[row].label);
    const int columns =
        static_cast<int>(std::lround(span / std::max(1e-3, snapshot.ribbon_step.count())));
    painter.add(canvas.list(), canvas.pixels(chart), snapshot.ribbons, columns);
    canvas.text_within({place.left, place.bottom - 6}, place.width(), {kSmall, kGrey},
                       kSmall * 0.8F, "computed: so its partials would beat against a true pipe");
}

}  // namespace rankwright::overlay

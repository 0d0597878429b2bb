#include "overlay/canvas.h"

#include <algorithm>
#include <cfloat>
#include <cmath>

namespace rankwright::overlay {

namespace {
// DejaVu Sans: line ascent (hhea), and how far letters such as "l" and "g" reach, in em.
constexpr float kAscent = 1901.0F / 2048.0F;
constexpr float kAscender = 0.76F;
constexpr float kDescender = 0.236F;
constexpr float kLineStep = 1.1F;
constexpr float kShrinkStep = 0.94F;
}  // namespace

Canvas::Canvas(ImDrawList& list, const Fonts& fonts, float scale, std::vector<DrawnText>& drawn)
    : list_(list), fonts_(fonts), scale_(scale), drawn_(drawn) {}

float Canvas::width(const TextStyle& style, std::string_view words) const {
    const float size = style.em * scale_ * fonts_.line_over_em();
    const ImFont* font = fonts_.face(style.bold, size);
    return font->CalcTextSizeA(size, FLT_MAX, 0.0F, words.data(), words.data() + words.size()).x /
           scale_;
}

float Canvas::text(Point at_baseline, const TextStyle& style, std::string_view words) {
    if (words.empty()) return 0.0F;
    const float wide = width(style, words);
    float left = at_baseline.x;
    if (style.align == Align::centre) left -= wide / 2;
    if (style.align == Align::right) left -= wide;
    const float size = style.em * scale_ * fonts_.line_over_em();
    const ImFont* font = fonts_.face(style.bold, size);
    // Whole pixels keep small letters sharp.
    const ImVec2 corner{std::round(left * scale_),
                        std::round((at_baseline.y - style.em * kAscent) * scale_)};
    list_.AddText(font, size, corner, style.colour, words.data(), words.data() + words.size());
    const bool descends = words.find_first_of("gjpqyJQ,;()") != std::string_view::npos;
    const float depth = descends ? style.em * kDescender : 0.0F;
    drawn_.push_back(
        {std::string(words),
         {left, at_baseline.y - style.em * kAscender, left + wide, at_baseline.y + depth},
         style.em,
         font});
    return wide;
}

float Canvas::text_within(Point at_baseline, float room, TextStyle style, float least_em,
                          std::string_view words) {
    const float wide = width(style, words);
    if (wide > room) style.em = std::max(least_em, style.em * room / wide);
    return text(at_baseline, style, cut_to(*this, style, room, words));
}

std::vector<std::string> Canvas::wrap(const TextStyle& style, float room,
                                      std::string_view words) const {
    std::vector<std::string> lines;
    std::string line;
    while (!words.empty()) {
        const std::size_t end = std::min(words.find(' '), words.size());
        const std::string word(words.substr(0, end));
        words.remove_prefix(std::min(end + 1, words.size()));
        std::string longer = line;
        if (!line.empty()) longer += ' ';
        longer += word;
        if (!line.empty() && width(style, longer) > room) {
            lines.push_back(line);
            line = word;
        } else {
            line = longer;
        }
    }
    if (!line.empty()) lines.push_back(line);
    return lines;
}

float Canvas::paragraph(const Rect& box, TextStyle style, float least_em, std::string_view words) {
    std::vector<std::string> lines = wrap(style, box.width(), words);
    const auto overflows = [&] {
        const float high = static_cast<float>(lines.size()) * style.em * kLineStep;
        return high > box.height() + 1.0F ||
               std::any_of(lines.begin(), lines.end(), [&](const std::string& line) {
                   return width(style, line) > box.width();
               });
    };
    while (style.em > least_em && overflows()) {
        style.em = std::max(least_em, style.em * kShrinkStep);
        lines = wrap(style, box.width(), words);
    }
    const float step = style.em * kLineStep;
    const auto fitting = std::max<std::size_t>(
        1, static_cast<std::size_t>(std::max(0.0F, (box.height() + 1.0F) / step)));
    if (lines.size() > fitting) {
        lines.resize(fitting);
        lines.back() += " …";
    }
    float x = box.left;
    if (style.align == Align::centre) x = box.centre().x;
    if (style.align == Align::right) x = box.right;
    float baseline = box.top + style.em * kAscent;
    for (const std::string& line : lines) {
        text({x, baseline}, style, cut_to(*this, style, box.width(), line));
        baseline += step;
    }
    return baseline - step;
}

void Canvas::fill(const Rect& rect, ImU32 colour, float rounding) {
    list_.AddRectFilled(at({rect.left, rect.top}), at({rect.right, rect.bottom}), colour,
                        rounding * scale_);
}

void Canvas::outline(const Rect& rect, ImU32 colour, float stroke, float rounding) {
    list_.AddRect(at({rect.left, rect.top}), at({rect.right, rect.bottom}), colour,
                  rounding * scale_, 0, stroke * scale_);
}

void Canvas::line(Point from, Point to, ImU32 colour, float stroke) {
    list_.AddLine(at(from), at(to), colour, stroke * scale_);
}

void Canvas::path(std::initializer_list<Point> points, ImU32 colour, float stroke, bool closed) {
    list_.PathClear();
    for (const Point& point : points)
        list_.PathLineTo(at(point));
    list_.PathStroke(colour, closed ? ImDrawFlags_Closed : ImDrawFlags_None, stroke * scale_);
}

void Canvas::shape(std::initializer_list<Point> corners, ImU32 colour) {
    list_.PathClear();
    for (const Point& corner : corners)
        list_.PathLineTo(at(corner));
    list_.PathFillConvex(colour);
}

void Canvas::circle(Point centre, float radius, ImU32 colour, float stroke) {
    list_.AddCircle(at(centre), radius * scale_, colour, 0, stroke * scale_);
}

void Canvas::arrow(Point from, Point to, ImU32 colour, float stroke) {
    const float dx = to.x - from.x;
    const float dy = to.y - from.y;
    const float length = std::max(1.0F, std::hypot(dx, dy));
    const Point along{dx / length, dy / length};
    const Point across{-along.y, along.x};
    const float head = stroke * 2.6F;
    const Point neck{to.x - along.x * head, to.y - along.y * head};
    line(from, {neck.x + along.x * 2, neck.y + along.y * 2}, colour, stroke);
    const float half = head * 0.95F;
    shape({{to.x, to.y},
           {neck.x + across.x * half, neck.y + across.y * half},
           {neck.x - across.x * half, neck.y - across.y * half}},
          colour);
}

Rect Canvas::pixels(const Rect& rect) const {
    return {rect.left * scale_, rect.top * scale_, rect.right * scale_, rect.bottom * scale_};
}

std::string cut_to(const Canvas& canvas, const TextStyle& style, float room,
                   std::string_view words) {
    // A hair's breadth: the text was shrunk to exactly this room.
    if (canvas.width(style, words) <= room + 0.5F) return std::string(words);
    std::string cut(words);
    while (!cut.empty()) {
        while (!cut.empty() && (static_cast<unsigned char>(cut.back()) & 0xC0U) == 0x80U)
            cut.pop_back();
        if (!cut.empty()) cut.pop_back();
        if (canvas.width(style, cut + "…") <= room) return cut + "…";
    }
    return {};
}

}  // namespace rankwright::overlay

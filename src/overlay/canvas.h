// Drawing in reference units on one of Dear ImGui's draw lists.
#pragma once

#include "overlay/fonts.h"
#include "overlay/layout.h"
#include "overlay/theme.h"

#include <initializer_list>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <imgui.h>

namespace rankwright::overlay {

enum class Align { left, centre, right };

struct TextStyle {
    float em = kBody;
    ImU32 colour = kPale;
    bool bold = false;
    Align align = Align::left;
};

/// One line of text as it was drawn, in reference units: what the layout tests measure.
struct DrawnText {
    std::string words;
    Rect box;  ///< from the ascenders to the descenders, if it has any
    float em = 0.0F;
    const ImFont* face = nullptr;
};

/// Text stands on its baseline: `at.y` is where the letters stand. All lengths in reference units.
class Canvas {
  public:
    Canvas(ImDrawList& list, const Fonts& fonts, float scale, std::vector<DrawnText>& drawn);

    float width(const TextStyle& style, std::string_view words) const;
    /// Returns the width drawn.
    float text(Point at, const TextStyle& style, std::string_view words);
    /// Shrinks the text as far as `least_em` to fit into `room`, then cuts it with "…". Returns the
    /// width drawn.
    float text_within(Point at, float room, TextStyle style, float least_em,
                      std::string_view words);
    /// Wraps at spaces, shrinking as far as `least_em` until all lines fit into the box; what still
    /// doesn't fit is cut with "…". Returns the baseline of the last line.
    float paragraph(const Rect& box, TextStyle style, float least_em, std::string_view words);

    void fill(const Rect& rect, ImU32 colour, float rounding = 0.0F);
    void outline(const Rect& rect, ImU32 colour, float stroke = 2.0F, float rounding = 0.0F);
    void line(Point from, Point to, ImU32 colour, float stroke = 2.0F);
    void path(std::initializer_list<Point> points, ImU32 colour, float stroke, bool closed = false);
    /// The corners of a convex shape, clockwise.
    void shape(std::initializer_list<Point> corners, ImU32 colour);
    void circle(Point centre, float radius, ImU32 colour, float stroke);
    /// A straight arrow with its head at `to`.
    void arrow(Point from, Point to, ImU32 colour, float stroke);
    /// A rectangle in pixels, for what is drawn by a shader.
    Rect pixels(const Rect& rect) const;
    ImDrawList& list() { return list_; }

  private:
    ImVec2 at(Point p) const { return {p.x * scale_, p.y * scale_}; }
    std::vector<std::string> wrap(const TextStyle& style, float room, std::string_view words) const;

    ImDrawList& list_;
    const Fonts& fonts_;
    float scale_;
    std::vector<DrawnText>& drawn_;
};

/// The words cut to `room` with "…" at the end; whole letters, never half a UTF-8 sequence.
std::string cut_to(const Canvas& canvas, const TextStyle& style, float room,
                   std::string_view words);

}  // namespace rankwright::overlay

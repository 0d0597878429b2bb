// Where each panel stands, in reference units: the window is at least 1280 × 800 of them.
#pragma once

namespace rankwright::overlay {

struct Point {
    float x = 0.0F;
    float y = 0.0F;
};

struct Rect {
    float left = 0.0F;
    float top = 0.0F;
    float right = 0.0F;
    float bottom = 0.0F;

    float width() const { return right - left; }
    float height() const { return bottom - top; }
    Point centre() const { return {(left + right) / 2, (top + bottom) / 2}; }
    Rect inset(float by) const { return {left + by, top + by, right - by, bottom - by}; }
};

/// Pixels of the window.
struct Size {
    float width = 1280.0F;
    float height = 800.0F;
};

/// Pixels a reference unit: the largest at which 1280 × 800 units fit. At least 0.1.
float scale_for(Size window);

struct Layout {
    Rect window;
    Rect header;
    Rect pipe;     ///< the drawn pipe
    Rect advice;   ///< which way to move its device
    Rect figures;  ///< how far off
    Rect ribbons;
    Rect notices;
    Rect call;   ///< key called, keys to come, how many are settled
    Rect chest;  ///< the rank as it stands
    Rect hints;  ///< which keys do what

    /// Wider and taller windows give their extra room to the figures and the ribbons.
    static Layout of(Size window);
};

}  // namespace rankwright::overlay

#include "overlay/layout.h"

#include <algorithm>

namespace rankwright::overlay {

namespace {
constexpr float kWidth = 1280.0F;
constexpr float kHeight = 800.0F;
constexpr float kMargin = 24.0F;
constexpr float kHeaderHeight = 50.0F;
constexpr float kCallWidth = 280.0F;
constexpr float kPipeWidth = 116.0F;
constexpr float kAdviceWidth = 246.0F;
constexpr float kChestHeight = 166.0F;
constexpr float kHintsHeight = 34.0F;
constexpr float kFiguresHeight = 346.0F;
constexpr float kNoticesHeight = 42.0F;
}  // namespace

float scale_for(Size window) {
    return std::max(0.1F, std::min(window.width / kWidth, window.height / kHeight));
}

Layout Layout::of(Size size) {
    const float scale = scale_for(size);
    const float width = size.width / scale;
    const float height = size.height / scale;
    Layout layout;
    layout.window = {0, 0, width, height};
    layout.header = {0, 0, width, kHeaderHeight};
    layout.hints = {0, height - kHintsHeight, width, height};
    layout.chest = {0, layout.hints.top - kChestHeight, width, layout.hints.top};
    const Rect main{kMargin, kHeaderHeight + 12, width - kMargin, layout.chest.top - 8};
    layout.call = {main.right - kCallWidth, main.top, main.right, main.bottom};
    layout.pipe = {main.left, main.top, main.left + kPipeWidth, main.bottom};
    layout.advice = {layout.pipe.right + 18, main.top, layout.pipe.right + 18 + kAdviceWidth,
                     main.bottom};
    const float left = layout.advice.right + 20;
    const float right = layout.call.left - 20;
    // A taller window's extra height is shared by the figures and the ribbons.
    const float extra = (height - kHeight) / 2;
    layout.figures = {left, main.top, right, main.top + kFiguresHeight + extra};
    layout.notices = {left, main.bottom - kNoticesHeight, right, main.bottom};
    layout.ribbons = {left, layout.figures.bottom + 6, right, layout.notices.top - 4};
    return layout;
}

}  // namespace rankwright::overlay

// Labels and lines below one another, as in the call.
#pragma once

#include "overlay/canvas.h"
#include "overlay/layout.h"

#include <string>
#include <string_view>

namespace rankwright::overlay {

struct Column {
    Canvas& canvas;
    Rect place;
    float baseline;  ///< of the last line drawn

    void label(std::string_view words);
    void line(std::string_view words, float em, bool bold, float least_em = kSmall);
    /// A key's note, its letter as large as it can be: "tenor", "C".
    void note(const std::string& words);
};

}  // namespace rankwright::overlay

#include "overlay/column.h"

#include "overlay/words.h"

namespace rankwright::overlay {

void Column::label(std::string_view words) {
    constexpr float kStep = 34.0F;
    baseline += kStep;
    canvas.text_within({place.left, baseline}, place.width(), {24, kGrey}, kSmall, words);
}

void Column::line(std::string_view words, float em, bool bold, float least_em) {
    baseline += em * 1.06F;
    canvas.text_within({place.left, baseline}, place.width(), {em, kPale, bold}, least_em, words);
}

void Column::note(const std::string& words) {
    const NoteParts parts = note_parts(words);
    if (!parts.place.empty()) line(parts.place, kLadder, true);
    line(parts.letter, kHuge, true);
}

}  // namespace rankwright::overlay

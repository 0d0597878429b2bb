#include "overlay/words_entry.h"

#include "overlay/plate.h"
#include "overlay/theme.h"

namespace rankwright::overlay {

namespace {

constexpr std::size_t kMostBytes = 240;

void append_utf8(std::string& words, char32_t point) {
    const auto byte = [&](unsigned value) { words += static_cast<char>(value); };
    const auto value = static_cast<unsigned>(point);
    if (value < 0x80) return byte(value);
    if (value < 0x800) {
        byte(0xC0U | (value >> 6U));
        return byte(0x80U | (value & 0x3FU));
    }
    if (value < 0x10000) {
        byte(0xE0U | (value >> 12U));
    } else {
        byte(0xF0U | (value >> 18U));
        byte(0x80U | ((value >> 12U) & 0x3FU));
    }
    byte(0x80U | ((value >> 6U) & 0x3FU));
    byte(0x80U | (value & 0x3FU));
}

bool printable(char32_t point) {
    return point >= U' ' && point != 0x7F && point <= 0x10FFFF &&
           (point < 0xD800 || point > 0xDFFF);
}

void erase_last(std::string& words) {
    while (!words.empty() && (static_cast<unsigned char>(words.back()) & 0xC0U) == 0x80U)
        words.pop_back();
    if (!words.empty()) words.pop_back();
}

}  // namespace

WordsEntry::Outcome WordsEntry::press(const KeyPress& key) {
    if (key.key == Key::text) {
        if (opened_ && printable(key.text) && words_.size() < kMostBytes)
            append_utf8(words_, key.text);
        return Outcome::typing;
    }
    opened_ = true;
    switch (key.key) {
        case Key::escape:
            return Outcome::left;
        case Key::enter:
            return words_.empty() ? Outcome::left : Outcome::done;
        case Key::erase:
            erase_last(words_);
            break;
        default:
            break;
    }
    return Outcome::typing;
}

void WordsEntry::draw(Canvas& canvas, const Rect& place) const {
    constexpr float kWide = 1100.0F;
    constexpr float kHigh = 380.0F;
    const Rect plate = draw_plate(canvas, place, kWide, kHigh);
    const float left = plate.left + 40;
    canvas.text_within({left, plate.top + 62}, plate.width() - 80, {kLarge, kGrey}, kBody, title_);
    canvas.paragraph({left, plate.top + 86, plate.right - 40, plate.bottom - 76},
                     {kLadder, kPale, true}, kBody, words_ + "_");
    canvas.text({left, plate.bottom - 30}, {24, kGrey}, advice_);
}

}  // namespace rankwright::overlay

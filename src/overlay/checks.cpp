#include "overlay/checks.h"

#include "overlay/panels.h"
#include "overlay/theme.h"

namespace rankwright::overlay {

namespace {

// NIOSH 98-126 for 100 dB(A) over 15 minutes; the rest common practice, no source.
constexpr std::array<std::string_view, 3> kCautionsBefore{
    {"Shades and pneumatics move without warning: hands clear until they stand open for good.",
     "Loud reeds harm hearing: plugs in, a quarter of an hour a day at 100 dB(A) is the limit.",
     "Ladders and walkboards: three points of contact, no pipe is a handhold, nobody alone."}};

}  // namespace

ChecksPage::Outcome ChecksPage::press(const KeyPress& key) {
    if (key.key == Key::text || ticks_.press(key)) return {};
    Outcome outcome{true, true, ticks_.note("before the work")};
    const bool closes =
        key.key == Key::enter || key.key == Key::escape || key.key == Key::page_down ||
        (key.key == Key::character && (key.character == ' ' || key.character == '.'));
    outcome.pass_on = !closes;
    return outcome;
}

void draw_check(Canvas& canvas, const Rect& place, std::size_t number, std::string_view words,
                bool ticked) {
    const float side = place.height() - 20;
    const Rect box{place.left, place.top + 10, place.left + side, place.top + 10 + side};
    canvas.outline(box, ticked ? kPale : kGrey, 3, 6);
    if (ticked) draw_tick(canvas, box.inset(6), kPale, 6);
    const float baseline = place.bottom - place.height() * 0.28F;
    canvas.text({box.right + 22, baseline}, {kLadder, kGrey, true}, std::to_string(number));
    canvas.text_within({box.right + 72, baseline}, place.right - box.right - 72,
                       {kLadder, ticked ? kPale : kGrey, ticked}, kLarge, words);
}

void ChecksPage::draw(Canvas& canvas, const Rect& place) const {
    canvas.fill(place, kGround);
    const Rect page{place.left + 40, place.top + 24, place.right - 40, place.bottom - 50};
    canvas.text({page.left, page.top + 48}, {kLadder, kPale, true}, "before the first note");
    constexpr float kRow = 72.0F;
    float top = page.top + 76;
    for (std::size_t i = 0; i < kChecksBefore.size(); ++i, top += kRow)
        draw_check(canvas, {page.left, top, page.right, top + kRow}, i + 1, kChecksBefore[i],
                   ticks_.ticked(i));
    top += 14;
    for (const std::string_view words : kCautionsBefore) {
        draw_caution_mark(canvas, {page.left + 18, top + 20}, 32);
        top = canvas.paragraph({page.left + 56, top, page.right, top + 64}, {kBody, kPale}, kSmall,
                               words) +
              18;
    }
    canvas.text_within({page.left, place.bottom - 16}, page.width(), {kSmall, kGrey}, kSmall * 0.8F,
                       "a digit: tick it (it goes into the book) · Enter, page down or point: to "
                       "the work");
}

}  // namespace rankwright::overlay

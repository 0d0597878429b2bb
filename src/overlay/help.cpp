#include "overlay/panels.h"
#include "overlay/plate.h"

#include <algorithm>
#include <array>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::overlay {

namespace {

struct KeyLine {
    std::string_view keys;
    std::string_view does;
};

constexpr std::array<KeyLine, 18> kKeys{{{"Page down", "next pipe (or →, space)"},
                                         {"Page up", "pipe before (or ←)"},
                                         {". (point)", "take this pipe again"},
                                         {"G or a digit", "go to a key by its number"},
                                         {"L", "the work list"},
                                         {"N", "the helper's next calls"},
                                         {"R", "write the report"},
                                         {"B", "copy or merge the tuning book"},
                                         {"K", "what to check before the work"},
                                         {"S", "take another stop"},
                                         {"T", "type temperature, humidity"},
                                         {"P", "type the pitch of the day"},
                                         {"M", "the pitch now sounding is today's"},
                                         {"A", "pipe alone, or with reference"},
                                         {"F", "something is wrong with this pipe"},
                                         {"X", "out of reach, or within again"},
                                         {"U", "undo what was kept or noted last"},
                                         {"Q or Esc", "leave"}}};

// What should not be forgotten on leaving; at most three, the gravest first.
std::vector<std::string> left_undone(const Snapshot& snapshot) {
    std::vector<std::string> words;
    if (snapshot.mixture && snapshot.mixture->mutes_in > 0) {
        const std::string mutes = std::to_string(snapshot.mixture->mutes_in);
        words.push_back(mutes + (mutes == "1" ? " mute is" : " mutes are") + " still in");
    }
    if (!snapshot.tuning_book.busy.empty()) words.push_back("still " + snapshot.tuning_book.busy);
    if (snapshot.open_count > 0)
        words.push_back("left open: " + std::to_string(snapshot.open_count));
    if (snapshot.again_count > 0)
        words.push_back("to be heard again: " + std::to_string(snapshot.again_count));
    constexpr std::size_t kRoom = 3;
    words.resize(std::min(words.size(), kRoom));
    return words;
}

// Sources: G. L. Miller, The Recent Revolution in Organ Building (1913), ch. XI, for the spring;
// NIOSH 98-126 for 85 dB(A) over 8 hours, halved with every 3 dB; the rest common practice, no
// source.
constexpr std::array<std::string_view, 7> kCautions{{
    "A pipe just handled is warm and reads sharp: hands off, wait until it stands.",
    "Your body near the mouth flattens the pipe: step back before you believe a figure.",
    "Settle a reed's spring after moving it, or it creeps.",
    "Never hold on to a pipe, a rack or a tray. Look where you step before you look here.",
    "Have the blower stopped before opening wind trunks, belts or shades' engines.",
    "Loud reeds harm hearing: 15 minutes a day at 100 dB(A) is the limit. Wear plugs.",
    "Pipe metal holds lead: wash your hands before you eat; brush no dust dry.",
}};

}  // namespace

void draw_hints(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kGround);
    const float baseline = place.bottom - 10;
    if (snapshot.survey) {
        const bool playing = snapshot.survey->stage == SurveyView::Stage::playing;
        const std::string over =
            playing ? "Page down: the play is over" : "Page down: next stop · Page up: play on";
        canvas.text_within({place.left + 24, baseline}, place.width() - 48, {kSmall, kGrey},
                           kSmall * 0.75F,
                           over +
                               " · S: stops · F: fault · U: undo · T: temperature · H: help, "
                               "cautions · Q: leave");
        return;
    }
    std::string words =
        "Page down: next · Page up: back · L: list · S: stops · F: fault · X: out of reach · U: "
        "undo · "
        "H: help, cautions";
    if (!snapshot.reference.empty()) words = "A: pipe alone · " + words;
    if (snapshot.alone) words = "A: with reference · " + words;
    if (snapshot.mixture)
        words = (snapshot.mixture->none_muted ? "W: one pipe, others muted · "
                                              : "W: hear the key whole · ") +
                words;
    if (snapshot.simulated && snapshot.mixture) words = "C: move the mutes · " + words;
    if (snapshot.simulated) words = "↑ ↓: move it (Shift: far) · " + words;
    canvas.text_within({place.left + 24, baseline}, place.width() - 48, {kSmall, kGrey},
                       kSmall * 0.75F, words);
}

void draw_help(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kGround);
    const float middle = place.left + place.width() * 0.49F;
    const float left = place.left + 32;
    float baseline = place.top + 64;
    canvas.text({left, baseline}, {44, kPale, true}, "keys");
    canvas.text({middle, baseline}, {44, kPale, true}, "take care");
    baseline += 62;
    const float step = snapshot.mixture ? 32.0F : 35.0F;
    const float does = left + 190;
    const auto line = [&](const KeyLine& key) {
        canvas.text_within({left, baseline}, does - left - 12, {24, kPale, true}, kSmall, key.keys);
        canvas.text_within({does, baseline}, middle - does - 20, {24, kGrey}, kSmall, key.does);
        baseline += step;
    };
    for (const KeyLine& key : kKeys)
        line(key);
    if (snapshot.mixture) line({"W", "hear the key whole, or one pipe, the others muted"});
    if (snapshot.simulated) line({"↑ ↓ (Shift: far)", "move the simulated device"});
    if (snapshot.simulated && snapshot.mixture)
        line({"C, with Shift badly", "move the simulated mutes as the screen asks"});

    float top = place.top + 96;
    const float right = place.right - 32;
    for (const std::string_view words : kCautions) {
        draw_caution_mark(canvas, {middle + 14, top + 17}, 26);
        const float last =
            canvas.paragraph({middle + 44, top, right, top + 84}, {25, kPale}, kSmall, words);
        top = last + 22;
    }
    canvas.text({right, place.bottom - 22}, {24, kGrey, false, Align::right},
                "any key: back to work");
}

void draw_quit_question(Canvas& canvas, const Rect& place, const Snapshot& snapshot,
                        const LeavingTicks& ticks) {
    const Point middle = place.centre();
    const Rect plate = draw_plate(canvas, place, 1200.0F, 660.0F);
    canvas.text({middle.x, plate.top + 66}, {kLadder, kPale, true, Align::centre},
                "leave the work?");
    canvas.text({middle.x, plate.top + 122}, {kLarge, kPale, false, Align::centre},
                "Enter: leave, and go on another time");
    canvas.text({middle.x, plate.top + 170}, {kLarge, kPale, false, Align::centre},
                "E: the visit is over · any other key: stay");
    float baseline = plate.top + 244;
    for (const std::string& words : left_undone(snapshot)) {
        draw_caution_mark(canvas, {plate.left + 60, baseline - 17}, 40);
        canvas.text_within({plate.left + 98, baseline}, plate.width() - 130, {kLadder, kPale, true},
                           kLarge, words);
        baseline += 58;
    }
    constexpr float kRow = 62.0F;
    float top = plate.bottom - kRow * kChecksAfter.size() - 20;
    for (std::size_t i = 0; i < kChecksAfter.size(); ++i, top += kRow)
        draw_check(canvas, {plate.left + 40, top, plate.right - 30, top + kRow}, i + 1,
                   kChecksAfter[i], ticks.ticked(i));
}

}  // namespace rankwright::overlay

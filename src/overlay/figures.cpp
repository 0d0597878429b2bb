#include "overlay/panels.h"

#include <algorithm>

namespace rankwright::overlay {

namespace {

// Lines below the large figure, from `baseline` on.
void draw_details(Canvas& canvas, const Rect& place, float baseline, const Snapshot& snapshot) {
    const bool paired = snapshot.beat.has_value();
    canvas.text_within({place.left, baseline}, place.width(), {34, kPale}, kSmall,
                       paired ? beat_words(*snapshot.beat) : beats_words(snapshot));
    for (const std::string& words :
         {certainty_words(snapshot), paired ? reference_words(snapshot) : pitch_words(snapshot)}) {
        baseline += kBody * 1.36F;
        canvas.text_within({place.left, baseline}, place.width(), {kBody, kGrey}, kSmall, words);
    }
}

// Beats from the reference where there is one, else cents from the target.
Figure shown_figure(const Snapshot& snapshot) {
    return snapshot.beat ? figure_of(*snapshot.beat)
                         : figure_of(*snapshot.deviation, snapshot.uncertainty);
}

void draw_unit(Canvas& canvas, const Rect& room, const Snapshot& snapshot, const Figure& figure,
               ImU32 colour) {
    if (!snapshot.beat) {
        canvas.text_within({room.left, room.bottom}, room.width(), {kLadder, colour}, kLarge,
                           figure.number == "1" ? "cent" : "cents");
        return;
    }
    canvas.text_within({room.left, room.bottom - 46}, room.width(), {kLarge, colour}, kSmall,
                       "beats");
    canvas.text_within({room.left, room.bottom}, room.width(), {kLarge, colour}, kSmall,
                       "a second");
}

// Two pipes that draw each other have no beat, whatever each would sound alone.
void draw_pulled_together(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.text_within({place.left, place.top + 66}, place.width(), {kLadder, kPale, true}, kLarge,
                       "pulled together");
    canvas.paragraph({place.left, place.top + 110, place.right, place.top + 230}, {kLadder, kPale},
                     kLarge, "hear the pipe alone");
    canvas.text_within({place.left, place.top + 290}, place.width(), {kBody, kGrey}, kSmall,
                       reference_words(snapshot));
}

void draw_reference_alone(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.text({place.left, place.top + 58}, {kLadder, kGrey},
                snapshot.perhaps_both ? "one pitch" : "reference alone");
    canvas.text_within({place.left, place.top + 152}, place.width(), {kHuge, kPale, true}, kLadder,
                       snapshot.reference);
    // Two in tune sound as one.
    if (snapshot.perhaps_both)
        canvas.text_within({place.left, place.top + 268}, place.width(), {kLarge, kGrey}, kSmall,
                           "alone, or both in tune");
    canvas.text_within({place.left, place.top + 214}, place.width(), {kLarge, kPale}, kSmall,
                       reference_words(snapshot));
}

std::string stage_word(Stage stage) {
    if (stage == Stage::disturbed) return "held: noise";
    if (stage == Stage::moving) return "moving";
    return {};
}

void draw_reading(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    if (snapshot.pulled_together) return draw_pulled_together(canvas, place, snapshot);
    if (!snapshot.deviation) return;
    const Figure figure = shown_figure(snapshot);
    const bool held = snapshot.stage == Stage::disturbed;
    const ImU32 hue = held ? kGrey : colour_of(figure.sense);
    const float sign_em = figure.sense == Sense::undecided ? kLadder : 66.0F;
    const float sign_baseline = place.top + 66;
    float left = place.left;
    if (figure.sense != Sense::undecided) {
        draw_sense_mark(canvas, {left, place.top + 6, left + 58, place.top + 82}, figure.sense);
        left += 78;
    }
    left += canvas.text_within({left, sign_baseline}, place.right - left, {sign_em, hue, true},
                               kLadder, figure.sign);
    const std::string word = stage_word(snapshot.stage);
    const TextStyle aside{kLarge, kGrey, false, Align::right};
    if (!word.empty() && canvas.width(aside, word) + left + 24 < place.right)
        canvas.text({place.right, sign_baseline}, aside, word);

    const float baseline = place.top + 212;
    const float unit_room = snapshot.beat ? 190.0F : 130.0F;
    const float wide =
        canvas.text_within({place.left - 6, baseline}, place.width() - unit_room,
                           {kFigure, held ? kGrey : kPale, true}, kHuge, figure.number);
    draw_unit(canvas, {place.left + wide + 14, place.top, place.right, baseline}, snapshot, figure,
              held ? kGrey : kPale);
    draw_details(canvas, place, baseline + 54, snapshot);
}

// "Kept" is said only of what is on disk.
std::string_view done_word(const Snapshot& snapshot) {
    return snapshot.keeping == Keeping::kept ? "kept" : "settled";
}

void draw_settled(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const Rect plate{place.left - 8, place.top, place.right, place.top + 220};
    canvas.fill(plate, kPale, 12);
    draw_tick(canvas, {plate.left + 34, plate.top + 44, plate.left + 154, plate.top + 144}, kGround,
              26);
    canvas.text_within({plate.left + 186, plate.top + 126}, plate.right - plate.left - 206,
                       {100, kGround, true}, kLadder, done_word(snapshot));
    if (snapshot.deviation) {
        const Figure figure = shown_figure(snapshot);
        canvas.text_within(
            {plate.left + 34, plate.top + 196}, plate.width() - 60, {kLarge, kGround}, kSmall,
            figure.sign + " " + figure.number + (snapshot.beat ? " beats a second" : " cents") +
                (snapshot.keeping == Keeping::held    ? " · not written yet"
                 : snapshot.keeping == Keeping::again ? " · hear again"
                                                      : ""));
    }
    draw_details(canvas, place, plate.bottom + 46, snapshot);
}

void draw_wrong_key(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    draw_not_equal(canvas, {place.left, place.top + 8});
    canvas.text({place.left + 84, place.top + 58}, {kLadder, kPale, true}, "another key");
    canvas.text_within({place.left, place.top + 168}, place.width(), {kHuge, kPale, true}, kLadder,
                       snapshot.heard_note.empty() ? "not this one" : snapshot.heard_note);
    canvas.text_within({place.left, place.top + 250}, place.width(), {kLadder, kGrey}, kLarge,
                       "called: " + snapshot.note);
}

void draw_waiting(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    if (snapshot.note.empty()) return;
    canvas.text({place.left, place.top + 58}, {kLadder, kGrey}, "waiting for");
    canvas.text_within({place.left, place.top + 158}, place.width(), {kHuge, kPale, true}, kLadder,
                       snapshot.note);
    if (snapshot.target)
        canvas.text_within({place.left, place.top + 222}, place.width(), {kLarge, kGrey}, kSmall,
                           pitch_words(snapshot));
}

}  // namespace

void draw_tick(Canvas& canvas, const Rect& place, ImU32 colour, float stroke) {
    canvas.path({{place.left, place.top + place.height() * 0.55F},
                 {place.left + place.width() * 0.36F, place.bottom - stroke / 2},
                 {place.right, place.top + stroke / 2}},
                colour, stroke);
}

// ≠: not what was called.
void draw_not_equal(Canvas& canvas, Point at) {
    canvas.line({at.x, at.y + 18}, {at.x + 64, at.y + 18}, kPale, 9);
    canvas.line({at.x, at.y + 40}, {at.x + 64, at.y + 40}, kPale, 9);
    canvas.line({at.x + 14, at.y + 60}, {at.x + 50, at.y - 6}, kPale, 9);
}

ImU32 colour_of(Sense sense) {
    switch (sense) {
        case Sense::sharp:
            return kWarm;
        case Sense::flat:
            return kCool;
        case Sense::undecided:
            break;
    }
    return kPale;
}

Sense sense_of(const Snapshot& snapshot) {
    return snapshot.deviation ? shown_figure(snapshot).sense : Sense::undecided;
}

void draw_sense_mark(Canvas& canvas, const Rect& place, Sense sense) {
    const float middle = place.centre().y;
    const ImU32 hue = colour_of(sense);
    const float inner_left = place.left + place.width() * 0.2F;
    const float inner_right = place.right - place.width() * 0.2F;
    if (sense == Sense::sharp) canvas.fill({inner_left, place.top, inner_right, middle - 5}, hue);
    if (sense == Sense::flat) canvas.fill({inner_left, middle + 5, inner_right, place.bottom}, hue);
    canvas.line({place.left, middle}, {place.right, middle}, kPale, 4);
}

void draw_figures(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const bool sounds = snapshot.stage != Stage::waiting;
    if (snapshot.mixture && snapshot.mixture->none_muted && sounds)
        return draw_whole_key(canvas, place, snapshot);
    switch (snapshot.stage) {
        case Stage::waiting:
            // With the input gone nothing is awaited: the trouble stands here instead.
            if (urgent_notice(snapshot) == nullptr) draw_waiting(canvas, place, snapshot);
            break;
        case Stage::reference:
            draw_reference_alone(canvas, place, snapshot);
            break;
        case Stage::speaking:
            canvas.text({place.left, place.top + 58}, {kLadder, kGrey}, "listening …");
            break;
        case Stage::wrong_key:
            if (snapshot.mixture)
                draw_wrong_pipe(canvas, place, snapshot);
            else
                draw_wrong_key(canvas, place, snapshot);
            break;
        case Stage::settled:
            draw_settled(canvas, place, snapshot);
            break;
        case Stage::reading:
        case Stage::moving:
        case Stage::disturbed:
            draw_reading(canvas, place, snapshot);
            break;
    }
}

}  // namespace rankwright::overlay

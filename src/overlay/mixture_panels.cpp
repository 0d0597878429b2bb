// The panels of the third job: one key of a mixture, its pipes and their mutes.
#include "overlay/column.h"
#include "overlay/panels.h"

#include <algorithm>
#include <string>

namespace rankwright::overlay {

namespace {

// Cloth pushed into the top of a pipe: a tuft that stands out of it.
void draw_tuft(Canvas& canvas, Point top, float half) {
    const float h = half * 1.1F;
    canvas.shape({{top.x - half * 0.7F, top.y - h},
                  {top.x - half * 0.1F, top.y - h * 1.5F},
                  {top.x + half * 0.8F, top.y - h * 0.9F},
                  {top.x + half * 0.85F, top.y + h * 1.4F},
                  {top.x - half * 0.85F, top.y + h * 1.4F}},
                 kGrey);
    for (const float x : {-0.45F, 0.0F, 0.45F})
        canvas.line({top.x + half * x, top.y - h * 0.8F}, {top.x + half * x * 0.8F, top.y + h},
                    kGround, 2);
}

void draw_key_pipe(Canvas& canvas, const Rect& place, const KeyPipe& pipe) {
    const float middle = place.centre().x;
    const float half = 13.0F;
    const float foot = place.bottom - 22;
    const float top = foot - std::max(0.3F, pipe.height) * (foot - place.top);
    const float mouth = foot - 8;
    if (pipe.current || pipe.settled) {
        const ImU32 body = pipe.current ? kPale : kFaint;
        canvas.fill({middle - half, top, middle + half, foot}, body);
        canvas.shape({{middle - half, foot},
                      {middle + half, foot},
                      {middle + 2, place.bottom},
                      {middle - 2, place.bottom}},
                     body);
        canvas.fill({middle - half * 0.6F, mouth - 5, middle + half * 0.6F, mouth}, kGround);
    } else {
        canvas.path({{middle - half, foot},
                     {middle - half, top},
                     {middle + half, top},
                     {middle + half, foot},
                     {middle, place.bottom}},
                    kFaint, 2.0F, true);
        canvas.fill({middle - half * 0.6F, mouth - 5, middle + half * 0.6F, mouth}, kFaint);
    }
    canvas.line({middle - half, foot}, {middle + half, foot}, kGround, 2);
    if (pipe.muted) draw_tuft(canvas, {middle, top}, half);
}

std::string off_words(const KeyPipe& pipe) {
    const Figure figure = figure_of(*pipe.deviation, pipe.uncertainty);
    return figure.sense == Sense::undecided ? "under " + figure.number
                                            : figure.sign + " " + figure.number;
}

// What is known of a pipe, beside it: its pitch, how far off it was, whether it leaks.
void draw_known(Canvas& canvas, const Rect& place, const KeyPipe& pipe, bool none_muted) {
    canvas.text_within({place.left, place.top + 34}, place.width(),
                       {kLarge, pipe.current ? kPale : kGrey, pipe.current}, kSmall, pipe.pitch);
    float baseline = place.top + 70;
    if (pipe.deviation) {
        const Sense sense = figure_of(*pipe.deviation, pipe.uncertainty).sense;
        canvas.text_within({place.left, baseline}, place.width(),
                           {kBody, pipe.current ? kPale : colour_of(sense)}, kSmall,
                           off_words(pipe));
        baseline += 34;
    }
    std::string words;
    if (pipe.leak) words = "leak " + decimal(pipe.leak->value(), 0) + " dB";
    if (pipe.silent) words = "silent";
    if (none_muted && !pipe.untold.empty()) words = pipe.untold;
    if (words.empty() && none_muted && !pipe.either.empty()) words = "or the other row";
    if (words.empty() && pipe.settled) words = "done";
    const bool caution = pipe.leak || pipe.silent;
    if (words.empty()) return;
    if (caution) draw_caution_mark(canvas, {place.left + 12, baseline - 8}, 22);
    const float left = place.left + (caution ? 32.0F : 0.0F);
    canvas.text_within({left, baseline}, place.right - left,
                       {kBody, caution ? kWarm : kGrey, caution}, kSmall, words);
}

const KeyPipe* first_suspect(const MixtureKey& key) {
    const auto found = std::find_if(key.pipes.begin(), key.pipes.end(),
                                    [](const KeyPipe& pipe) { return pipe.suspect == 1; });
    return found == key.pipes.end() ? nullptr : &*found;
}

void draw_suspect(Canvas& canvas, const Rect& place, const KeyPipe& pipe) {
    const Figure figure = figure_of(*pipe.deviation, pipe.uncertainty);
    const ImU32 hue = colour_of(figure.sense);
    canvas.text({place.left, place.top + 58}, {kLadder, kGrey}, "go to");
    canvas.text_within({place.left + 164, place.top + 62}, place.width() - 164,
                       {kHuge, kPale, true}, kLadder, pipe.either.empty() ? pipe.pitch : pipe.feet);
    draw_sense_mark(canvas, {place.left, place.top + 100, place.left + 58, place.top + 176},
                    figure.sense);
    const float wide = canvas.text_within({place.left + 78, place.top + 160}, place.width() - 78,
                                          {66, hue, true}, kLadder, figure.sign + " ");
    canvas.text_within({place.left + 78 + wide, place.top + 160}, place.width() - 78 - wide,
                       {66, kPale, true}, kLadder, figure.number);
    float baseline = place.top + 216;
    if (!pipe.either.empty()) {
        canvas.text({place.left, baseline + 24}, {kLadder, kPale}, pipe.either);
        baseline += 66;
    }
    canvas.text({place.left, baseline}, {kBody, kGrey}, "cents, heard with all its key");
}

}  // namespace

void draw_mixture_call(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const MixtureKey& key = *snapshot.mixture;
    Column column{canvas, place.inset(18), place.top + 2};
    const bool goes_on = snapshot.stage == Stage::settled && !key.next_pitch.empty();
    const bool other_key = goes_on && !key.next_note.empty();
    column.label(other_key ? "call next" : "call");
    column.note(other_key ? key.next_note : snapshot.note);
    if (key.none_muted) {
        column.label("take all mutes out");
        column.line("hear whole", kLadder, true, kLarge);
    } else if (goes_on) {
        column.label(other_key ? "mutes go along, open" : "mute next");
        column.line(other_key ? key.next_pitch : key.in_hand, kLadder, true);
        if (!other_key) {
            column.label("then open");
            column.line(key.next_pitch, kLadder, false);
        }
    } else {
        column.label("open, all others muted");
        column.line(key.in_hand, kLadder, true);
        if (!key.next_pitch.empty()) {
            column.label("then");
            column.line(key.next_note.empty() ? key.next_pitch : key.next_note, kLadder, false);
        }
    }
    column.label("mutes in");
    column.line(std::to_string(key.mutes_in), kLadder, false);
    const bool book = snapshot.keeping != Keeping::no_book;
    column.label((book ? "kept " : "settled ") +
                 std::to_string(book ? snapshot.kept_count : snapshot.settled_count) + " of " +
                 std::to_string(snapshot.pipe_count));
}

void draw_wrong_pipe(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const MixtureKey& key = *snapshot.mixture;
    draw_not_equal(canvas, {place.left, place.top + 8});
    if (!key.to_mute.empty()) {
        canvas.text_within({place.left + 84, place.top + 58}, place.width() - 84,
                           {kLadder, kPale, true}, kLarge, "others sound: mute");
        canvas.paragraph({place.left, place.top + 84, place.right, place.top + 270},
                         {kHuge, kPale, true}, kLadder, key.to_mute);
        canvas.text_within({place.left, place.top + 320}, place.width(), {kLadder, kGrey}, kLarge,
                           "leave open: " + key.in_hand);
        return;
    }
    canvas.text({place.left + 84, place.top + 58}, {kLadder, kPale, true}, "another pipe");
    canvas.paragraph({place.left, place.top + 84, place.right, place.top + 250},
                     {kHuge, kPale, true}, kLadder,
                     key.instead.empty() ? "not this one" : key.instead);
    canvas.text_within({place.left, place.top + 310}, place.width(), {kLadder, kGrey}, kLarge,
                       "wanted: " + key.in_hand);
}

void draw_whole_key(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const MixtureKey& key = *snapshot.mixture;
    if (!key.heard_whole) {
        canvas.text({place.left, place.top + 58}, {kLadder, kGrey}, "hearing all …");
        return;
    }
    if (const KeyPipe* suspect = first_suspect(key)) return draw_suspect(canvas, place, *suspect);
    const bool all_heard = std::none_of(key.pipes.begin(), key.pipes.end(), [](const auto& pipe) {
        return pipe.silent || !pipe.untold.empty();
    });
    if (!all_heard) {
        canvas.paragraph({place.left, place.top + 6, place.right, place.top + 140},
                         {kLadder, kPale, true}, kLarge, "those heard are in tune");
        canvas.paragraph({place.left, place.top + 150, place.right, place.top + 320},
                         {kLarge, kGrey}, kBody, key.to_tell);
        return;
    }
    const Rect plate{place.left - 8, place.top, place.right, place.top + 220};
    canvas.fill(plate, kPale, 12);
    draw_tick(canvas, {plate.left + 34, plate.top + 54, plate.left + 154, plate.top + 154}, kGround,
              26);
    canvas.text_within({plate.left + 186, plate.top + 136}, plate.width() - 206,
                       {kHuge, kGround, true}, kLadder, "all pure");
}

void draw_mixture_key(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kPlate);
    const MixtureKey& key = *snapshot.mixture;
    if (key.pipes.empty()) return;
    constexpr float kWidest = 250.0F;
    constexpr float kPipeRoom = 62.0F;
    const auto count = static_cast<float>(key.pipes.size());
    const float cell = std::min(kWidest, (place.width() - 48) / count);
    float left = place.left + 24 + std::max(0.0F, (place.width() - 48 - cell * count) / 2);
    for (const KeyPipe& pipe : key.pipes) {
        draw_key_pipe(canvas, {left, place.top + 30, left + kPipeRoom, place.bottom - 10}, pipe);
        draw_known(canvas, {left + kPipeRoom, place.top + 14, left + cell - 6, place.bottom - 8},
                   pipe, key.none_muted);
        left += cell;
    }
}

}  // namespace rankwright::overlay

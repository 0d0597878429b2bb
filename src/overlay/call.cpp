#include "overlay/column.h"
#include "overlay/panels.h"

#include <cmath>

namespace rankwright::overlay {

namespace {

std::string minutes_words(Seconds left) {
    const auto s = static_cast<int>(std::ceil(left.count()));
    const std::string seconds = std::to_string(s % 60);
    return std::to_string(s / 60) + ":" + (s % 60 < 10 ? "0" : "") + seconds + " min";
}

// Both keys of a call, each on one line (which bold letters would overrun): there must be room for
// what follows.
void call_two(Column& column, const Snapshot& snapshot) {
    column.line(snapshot.note, kLadder, false);
    column.label(snapshot.also_where.empty() ? "and" : "and on the " + snapshot.also_where);
    column.line(snapshot.also_note, kLadder, false);
}

std::string joined(const std::vector<std::string>& notes, std::size_t from, std::size_t most) {
    std::string words;
    for (std::size_t i = from; i < notes.size() && i < from + most; ++i)
        words += (words.empty() ? "" : " · ") + notes[i];
    return words;
}

void to_come(Column& column, const Snapshot& snapshot, std::size_t from) {
    const std::string& then = snapshot.then;
    const std::string& next_stop = snapshot.next_stop;
    const auto notes = notes_to_come(then);
    if (notes.empty()) {
        if (!then.empty() && next_stop.empty()) column.label(then);
        return;
    }
    if (from >= notes.size()) return;
    column.label("then");
    // As many as can be read from the ladder.
    for (std::size_t most = 3; most > 0; --most) {
        const std::string words = joined(notes, from, most);
        if (most > 1 && column.canvas.width({kLadder, kPale}, words) > column.place.width())
            continue;
        column.line(words, kLadder, false);
        return;
    }
}

}  // namespace

void draw_call(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kPlate, 10);
    if (snapshot.note.empty()) return;
    if (snapshot.mixture) return draw_mixture_call(canvas, place, snapshot);
    Column column{canvas, place.inset(18), place.top + 2};
    const auto notes = notes_to_come(snapshot.then);
    const std::string next = !snapshot.next_note.empty() ? snapshot.next_note
                             : notes.empty()             ? std::string()
                                                         : notes.front();
    if (snapshot.wait) {
        column.label(snapshot.wait_for_wire ? "hands off: it creeps" : "hands off: let cool");
        column.line(minutes_words(*snapshot.wait), kLadder, true);
    } else if (snapshot.stage == Stage::settled && !next.empty()) {
        column.label("call next");
        column.note(next);
        to_come(column, snapshot, 1);
    } else if (snapshot.stage == Stage::settled && !snapshot.next_stop.empty() &&
               snapshot.calls.size() > 1) {
        column.label("draw next");
        column.line(snapshot.next_stop, kLadder, true);
        column.label("and call");
        column.note(snapshot.calls[1].key);
    } else {
        column.label("call");
        if (snapshot.also_note.empty())
            column.note(snapshot.note);
        else
            call_two(column, snapshot);
        to_come(column, snapshot, 0);
    }
    if (!snapshot.next_stop.empty() && snapshot.stage != Stage::settled) {
        column.label("then draw");
        column.line(snapshot.next_stop, kLadder, false);
    }
    column.baseline += 6;
    if (snapshot.only_listed && snapshot.list) {
        column.label("on the list");
        column.line(std::to_string(snapshot.list->to_do) + " to do", kLadder, false);
    } else if (snapshot.pipe_count > 0) {
        const bool book = snapshot.keeping != Keeping::no_book;
        column.label(book ? "kept" : "settled");
        column.line(std::to_string(book ? snapshot.kept_count : snapshot.settled_count) + " of " +
                        std::to_string(snapshot.pipe_count),
                    kLadder, false);
        if (snapshot.again_count > 0)
            column.label("hear again: " + std::to_string(snapshot.again_count));
        if (snapshot.open_count > 0)
            column.label("left open: " + std::to_string(snapshot.open_count));
    }
    column.baseline += 6;
    if (snapshot.stops_on.empty() || place.bottom - column.baseline < 80) return;
    column.label("stops on");
    constexpr float kStopStep = 34.0F;
    for (const std::string& stop : snapshot.stops_on) {
        if (column.baseline + kStopStep > place.bottom - 8) break;
        column.baseline += kStopStep;
        canvas.text_within({column.place.left, column.baseline}, column.place.width(),
                           {kBody, kPale}, kSmall, stop);
    }
}

}  // namespace rankwright::overlay

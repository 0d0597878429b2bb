#include "overlay/chooser.h"

#include "overlay/panels.h"

#include <algorithm>

namespace rankwright::overlay {

namespace {

constexpr float kEntryHeight = 78.0F;

struct ListLook {
    std::string_view title;
    const std::vector<Choices::Entry>& entries;
    std::size_t lit;
    bool active;
};

void draw_list(Canvas& canvas, const Rect& place, const ListLook& look) {
    canvas.text({place.left, place.top + 30}, {32, look.active ? kPale : kGrey, look.active},
                look.title);
    const float top = place.top + 50;
    const auto visible =
        static_cast<std::size_t>(std::max(1.0F, (place.bottom - top) / kEntryHeight));
    const std::size_t first = look.lit < visible ? 0 : look.lit - visible + 1;
    for (std::size_t i = first; i < std::min(look.entries.size(), first + visible); ++i) {
        const float y = top + static_cast<float>(i - first) * kEntryHeight;
        const Rect row{place.left, y, place.right, y + kEntryHeight - 8};
        const bool lit = i == look.lit;
        if (lit && look.active)
            canvas.fill(row, kPale, 8);
        else
            canvas.outline(row, lit ? kPale : kEdge, lit ? 3.0F : 1.5F, 8);
        const bool inverse = lit && look.active;
        const float room = row.width() - 32;
        canvas.text_within({row.left + 16, row.top + 34}, room,
                           {kBody, inverse ? kGround : kPale, true}, kSmall, look.entries[i].name);
        canvas.text_within({row.left + 16, row.top + 60}, room, {kSmall, inverse ? kGround : kGrey},
                           kSmall * 0.8F, look.entries[i].detail);
    }
}

}  // namespace

void Chooser::begin(const Choices& choices) {
    if (begun_) return;
    begun_ = true;
    list_ = choices.last_visit ? List::last_visit : List::instruments;
}

void Chooser::step(int by, const Choices& choices) {
    if (list_ == List::last_visit) {
        if (by > 0) list_ = List::instruments;
        return;
    }
    std::size_t& lit = list_ == List::instruments ? choice_.instrument : choice_.input;
    const std::size_t count =
        list_ == List::instruments ? choices.instruments.size() : choices.inputs.size();
    if (by < 0 && lit == 0) {
        if (choices.last_visit) list_ = List::last_visit;
    } else if (by < 0) {
        --lit;
    } else if (lit + 1 < count) {
        ++lit;
    }
}

void Chooser::confirm(const Choices& choices) {
    switch (list_) {
        case List::last_visit:
            choice_.go_on = true;
            state_ = State::chosen;
            break;
        case List::instruments:
            if (!choices.instruments.empty()) list_ = List::inputs;
            break;
        case List::inputs:
            if (choices.inputs.empty() || choices.instruments.empty()) break;
            choice_.go_on = false;
            state_ = State::chosen;
            break;
    }
}

void Chooser::press(const KeyPress& key, const Choices& choices) {
    begin(choices);
    if (book_page_) {
        BookPage::Outcome outcome = book_page_->press(key, choices.book);
        if (outcome.command) asked_.push_back(std::move(*outcome.command));
        if (outcome.done) book_page_.reset();
        return;
    }
    switch (key.key) {
        case Key::up:
        case Key::page_up:
            step(-1, choices);
            break;
        case Key::down:
        case Key::page_down:
            step(1, choices);
            break;
        case Key::left:
            list_ = List::instruments;
            break;
        case Key::right:
        case Key::tab:
            list_ = list_ == List::inputs ? List::instruments : List::inputs;
            break;
        case Key::enter:
            confirm(choices);
            break;
        case Key::escape:
            state_ = State::left;
            break;
        case Key::character:
            if (key.character == 'q') state_ = State::left;
            if (key.character == 'b') book_page_.emplace();
            // Space and point, so that a presenter remote can choose.
            if (key.character == ' ' || key.character == '.') confirm(choices);
            break;
        case Key::erase:
        case Key::text:
            break;
    }
    // What is being done with the book is waited for where it is seen.
    if (state_ != State::choosing && !choices.book.busy.empty()) {
        state_ = State::choosing;
        book_page_.emplace();
    }
}

void Chooser::draw(Canvas& canvas, const Rect& place, const Choices& choices) const {
    if (book_page_) return book_page_->draw(canvas, place, choices.book);
    canvas.fill(place, kGround);
    const List active = begun_ ? list_ : choices.last_visit ? List::last_visit : List::instruments;
    const Rect page{place.left + 40, place.top + 30, place.right - 40, place.bottom - 50};
    canvas.text({page.left, page.top + 44}, {kLadder, kPale, true}, "Which organ, heard how?");
    float top = page.top + 86;
    if (choices.last_visit) {
        const Choices::Entry last{"go on with the last visit", *choices.last_visit};
        draw_list(canvas, {page.left, top - 40, page.right, top + 96},
                  {"", {last}, 0, active == List::last_visit});
        top += 104;
    }
    const float middle = page.centre().x;
    draw_list(canvas, {page.left, top, middle - 16, page.bottom},
              {"organ", choices.instruments, choice_.instrument, active == List::instruments});
    draw_list(canvas, {middle + 16, top, page.right, page.bottom},
              {"input", choices.inputs, choice_.input, active == List::inputs});
    if (!choices.trouble.empty()) {
        const Rect box{page.left, page.bottom - 130, page.right, page.bottom};
        canvas.fill(box, kGround);
        draw_caution_mark(canvas, {box.left + 24, box.top + 40}, 44);
        canvas.paragraph({box.left + 66, box.top, box.right, box.bottom}, {kLarge, kPale}, kBody,
                         choices.trouble);
    }
    canvas.text_within({place.left + 40, place.bottom - 16}, page.width(), {kSmall, kGrey},
                       kSmall * 0.8F,
                       "↑ ↓ or page up, page down: choose · → or Tab: other list · "
                       "Enter or point: take it · B: the tuning book · Q: leave");
}

}  // namespace rankwright::overlay

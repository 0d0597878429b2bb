#include "overlay/book_page.h"

#include "overlay/panels.h"

#include <algorithm>
#include <array>
#include <string_view>

namespace rankwright::overlay {

namespace {

using What = visit::CareForBook::What;

struct Deed {
    What what;
    std::string_view name;
    std::string_view detail;
    std::string_view question;  ///< with which file or folder; empty: it needs none
};

constexpr std::array<Deed, 6> kDeeds{{
    {What::back_up, "copy it", "a backup, whole and sound, also while the book is in use",
     "copy it where?"},
    {What::merge, "merge another book", "takes in what the other laptop has and this one hasn't",
     "merge which book?"},
    {What::import, "take in an exported file", "what it has and the book hasn't",
     "take in which file?"},
    {What::export_json, "write all of it out", "an exported file, which can be taken in again",
     "write it where?"},
    {What::export_csv, "write a table", "all entries, for a spreadsheet", "write it where?"},
    {What::check, "look whether it is sound", "reads all of it", ""},
}};

const std::vector<std::string>& places_for(What what, const BookView& view) {
    if (what == What::merge) return view.books;
    if (what == What::import) return view.exports;
    return view.folders;
}

struct Split {
    std::string last;  ///< the file's or folder's own name
    std::string before;
};

Split split(const std::string& path) {
    const std::size_t slash = path.find_last_of('/');
    if (slash == std::string::npos || slash + 1 == path.size()) return {path, ""};
    return {path.substr(slash + 1), path.substr(0, slash + 1)};
}

// The end of a long path tells more than its beginning.
std::string end_of(const Canvas& canvas, const TextStyle& style, float room, std::string words) {
    bool cut = false;
    while (!words.empty() && canvas.width(style, (cut ? "…" : "") + words) > room) {
        std::size_t letter = 1;
        while (letter < words.size() &&
               (static_cast<unsigned char>(words[letter]) & 0xC0U) == 0x80U)
            ++letter;
        words.erase(0, letter);
        cut = true;
    }
    return (cut ? "…" : "") + words;
}

void draw_row(Canvas& canvas, const Rect& row, bool lit, std::string_view name,
              std::string_view detail) {
    if (lit)
        canvas.fill(row, kPale, 8);
    else
        canvas.outline(row, kEdge, 1.5F, 8);
    const float room = row.width() - 32;
    canvas.text_within({row.left + 16, row.top + 38}, room, {kLarge, lit ? kGround : kPale, true},
                       kSmall, name);
    canvas.text_within({row.left + 16, row.top + 66}, room, {kSmall, lit ? kGround : kGrey},
                       kSmall * 0.8F, detail);
}

constexpr float kRow = 84.0F;

}  // namespace

BookPage::Outcome BookPage::act(std::string file) {
    place_.reset();
    return {false, visit::CareForBook{kDeeds[deed_].what, std::move(file)}};
}

BookPage::Outcome BookPage::choose(const BookView& view) {
    if (!view.busy.empty()) return {};  // one thing after the other: the page says what goes on
    const Deed& deed = kDeeds[deed_];
    if (deed.question.empty()) return act({});
    if (!place_) {
        place_ = 0;
        return {false, visit::CareForBook{What::look, {}}};
    }
    const auto& places = places_for(deed.what, view);
    if (*place_ < places.size()) return act(places[*place_]);
    typed_.emplace("its name, with all folders: /media/…", "Enter: take it · Esc: back");
    return {};
}

BookPage::Outcome BookPage::type(const KeyPress& key) {
    const WordsEntry::Outcome outcome = typed_->press(key);
    if (outcome == WordsEntry::Outcome::typing) return {};
    const std::string words = typed_->words();
    typed_.reset();
    return outcome == WordsEntry::Outcome::done ? act(words) : Outcome{};
}

BookPage::Outcome BookPage::press(const KeyPress& key, const BookView& view) {
    if (typed_) return type(key);
    if (key.key == Key::text) return {};
    if (view.book.empty()) return {true, std::nullopt};
    const std::size_t last =
        place_ ? places_for(kDeeds[deed_].what, view).size() : kDeeds.size() - 1;
    std::size_t& lit = place_ ? *place_ : deed_;
    lit = std::min(lit, last);
    switch (key.key) {
        case Key::up:
        case Key::page_up:
            lit -= lit > 0 ? 1U : 0U;
            return {};
        case Key::down:
        case Key::page_down:
            lit += lit < last ? 1U : 0U;
            return {};
        case Key::enter:
        case Key::right:
            return key.repeat ? Outcome{} : choose(view);
        case Key::character:
            // A presenter remote has no Enter.
            if (key.character == '.' || key.character == ' ')
                return key.repeat ? Outcome{} : choose(view);
            break;
        default:
            break;
    }
    if (!place_) return {true, std::nullopt};
    place_.reset();
    return {};
}

void BookPage::draw_deeds(Canvas& canvas, const Rect& place) const {
    float top = place.top;
    for (std::size_t i = 0; i < kDeeds.size(); ++i, top += kRow)
        draw_row(canvas, {place.left, top, place.right, top + kRow - 8}, i == deed_, kDeeds[i].name,
                 kDeeds[i].detail);
}

void BookPage::draw_places(Canvas& canvas, const Rect& place, const BookView& view) const {
    const auto& places = places_for(kDeeds[deed_].what, view);
    const auto rows = static_cast<std::size_t>(std::max(1.0F, place.height() / kRow));
    const std::size_t lit = std::min(*place_, places.size());
    const std::size_t first = lit < rows ? 0 : lit - rows + 1;
    float top = place.top;
    for (std::size_t i = first; i <= std::min(places.size(), first + rows - 1); ++i, top += kRow) {
        const Rect row{place.left, top, place.right, top + kRow - 8};
        if (i == places.size()) {
            draw_row(canvas, row, i == lit, "another", "type its name");
            continue;
        }
        const Split path = split(places[i]);
        draw_row(canvas, row, i == lit, path.last,
                 end_of(canvas, {kSmall, kGrey}, row.width() - 32, path.before));
    }
}

void BookPage::draw(Canvas& canvas, const Rect& place, const BookView& view) const {
    canvas.fill(place, kGround);
    const Rect page{place.left + 40, place.top + 30, place.right - 40, place.bottom - 50};
    const bool asks = place_.has_value();
    canvas.text({page.left, page.top + 44}, {kLadder, kPale, true},
                asks ? kDeeds[deed_].question : "the tuning book");
    if (view.book.empty()) {
        canvas.paragraph({page.left, page.top + 90, page.right, page.bottom}, {kLadder, kPale},
                         kLarge,
                         "Nothing is kept in a tuning book here: start with --book FILE, or with "
                         "the microphone as input.");
        return;
    }
    const TextStyle file{kBody, kGrey};
    canvas.text({page.left, page.top + 84}, file, end_of(canvas, file, page.width(), view.book));
    const Rect rows{page.left, page.top + 106, page.right, page.bottom - 96};
    if (asks)
        draw_places(canvas, rows, view);
    else
        draw_deeds(canvas, rows);
    const Rect result{page.left, page.bottom - 92, page.right, page.bottom};
    if (!view.busy.empty()) {
        canvas.paragraph(result, {kLarge, kPale}, kBody, view.busy);
    } else if (!view.said.empty()) {
        canvas.fill(result, kPlate, 10);
        canvas.outline(result, view.failed ? kWarm : kPale, 3, 10);
        const float mark = view.failed ? 64.0F : 0.0F;
        if (view.failed) draw_caution_mark(canvas, {result.left + 44, result.centre().y}, 48);
        canvas.paragraph(
            {result.left + 20 + mark, result.top + 6, result.right - 16, result.bottom - 4},
            {kLarge, kPale, true}, kSmall, view.said);
    }
    canvas.text_within({place.left + 40, place.bottom - 16}, page.width(), {kSmall, kGrey},
                       kSmall * 0.8F,
                       "↑ ↓ or page up, page down: choose · Enter or point: take it · any other "
                       "key: back");
    if (typed_) typed_->draw(canvas, place);
}

}  // namespace rankwright::overlay

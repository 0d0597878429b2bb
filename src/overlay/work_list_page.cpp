#include "overlay/work_list_page.h"

#include "overlay/theme.h"

#include <algorithm>
#include <numeric>
#include <string>
#include <utility>

namespace rankwright::overlay {

namespace {
constexpr float kPlateRow = 94.0F;
}  // namespace

WorkListPage::WorkListPage(const Snapshot& snapshot) : walking_(snapshot.only_listed) {
    if (!snapshot.pipe.division.empty()) lit_ = snapshot.pipe;
}

std::vector<std::size_t> WorkListPage::order(const ListPage& list) const {
    if (walking_) return list.walking;
    std::vector<std::size_t> all(list.lines.size());
    std::iota(all.begin(), all.end(), std::size_t{0});
    return all;
}

std::size_t WorkListPage::lit_at(const ListPage& list) const {
    const auto shown = order(list);
    for (std::size_t i = 0; i < shown.size(); ++i)
        if (list.lines[shown[i]].pipe == lit_) return i;
    return std::min(lit_line_, shown.empty() ? 0 : shown.size() - 1);
}

WorkListPage::Outcome WorkListPage::complain(const KeyPress& key) {
    const WordsEntry::Outcome outcome = complaint_->press(key);
    if (outcome == WordsEntry::Outcome::typing) return {};
    const std::string words = complaint_->words();
    complaint_.reset();
    if (outcome == WordsEntry::Outcome::left || !lit_) return {};
    return {false,
            visit::Note{visit::Remark{StopId{lit_->division, lit_->stop}, lit_->key, words, true}}};
}

WorkListPage::Outcome WorkListPage::press(const KeyPress& key, const Snapshot& snapshot) {
    if (complaint_) return complain(key);
    if (key.key == Key::text) return {};
    const ListPage none;
    const ListPage& list = snapshot.list ? *snapshot.list : none;
    const auto shown = order(list);
    if (shown.empty()) return {true, std::nullopt};
    constexpr std::size_t kPage = 5;
    std::size_t at = lit_at(list);
    const auto light = [&](std::size_t line) {
        lit_line_ = std::min(line, shown.size() - 1);
        lit_ = list.lines[shown[lit_line_]].pipe;
        return Outcome{};
    };
    switch (key.key) {
        case Key::up:
        case Key::page_up:
            return light(at == 0 ? 0 : at - 1);
        case Key::down:
        case Key::page_down:
            return light(at + 1);
        case Key::left:
            return light(at < kPage ? 0 : at - kPage);
        case Key::right:
            return light(at + kPage);
        case Key::tab:
            walking_ = !walking_;
            return {};
        case Key::enter:
        case Key::character:
            light(at);
            return act(key, list.lines[shown[at]]);
        default:
            break;
    }
    return {true, std::nullopt};
}

WorkListPage::Outcome WorkListPage::act(const KeyPress& key, const ListLine& line) {
    using visit::ListState;
    const auto change = [&](ListState state) {
        return Outcome{false, visit::Note{visit::ListChange{line.pipe, state}}};
    };
    if (key.repeat) return {};
    // A presenter remote has no Enter.
    if (key.key == Key::enter || key.character == '.' || key.character == ' ')
        return {true, visit::GoToPipe{line.pipe}};
    switch (key.character) {
        case 'd':
            return line.listed ? change(ListState::dropped) : Outcome{};
        case 'w':
            return change(ListState::wanted);
        case 'x':
            return {false, visit::Note{visit::OutOfReach{line.pipe, !line.out_of_reach}}};
        case 'c':
            complaint_.emplace("complaint: " + line.stop + ", " + line.note);
            return {};
        case 'o':
            walking_ = !walking_;
            return {};
        case 'p':
            return {false, visit::WritePage{visit::WritePage::What::calls}};
        default:
            break;
    }
    return {true, std::nullopt};
}

void WorkListPage::draw(Canvas& canvas, const Rect& place, const Snapshot& snapshot) const {
    canvas.fill(place, kGround);
    const Rect page{place.left + 32, place.top + 20, place.right - 32, place.bottom - 44};
    const ListPage none;
    const ListPage& list = snapshot.list ? *snapshot.list : none;
    const std::string title =
        std::to_string(list.to_do) + " to do, " + std::to_string(list.done) + " done";
    const float wide = canvas.text({page.left, page.top + 44}, {kLadder, kPale, true}, title);
    canvas.text_within({page.left + wide + 24, page.top + 44}, page.width() - wide - 24,
                       {kLarge, kGrey}, kBody,
                       walking_ ? "in the order for the feet" : "the most audible first");
    float top = page.top + 66;
    for (const std::string& remark : list.remarks) {
        constexpr float kMostRemarks = 3;
        if (top > page.top + 66 + 34 * (kMostRemarks - 0.5F)) break;
        canvas.text_within({page.left, top + 26}, page.width(), {kBody, kWarm}, kSmall, remark);
        top += 34;
    }
    const auto shown = order(list);
    const auto rows = static_cast<std::size_t>(std::max(1.0F, (page.bottom - top) / kPlateRow));
    const std::size_t lit = lit_at(list);
    const std::size_t first = lit < rows ? 0 : std::min(lit - rows / 2, shown.size() - rows);
    for (std::size_t i = first; i < std::min(shown.size(), first + rows); ++i) {
        const ListLine& line = list.lines[shown[i]];
        const Rect row{page.left, top, page.right, top + kPlateRow - 6};
        top += kPlateRow;
        const bool is_lit = i == lit;
        if (is_lit) canvas.fill(row, kPale, 8);
        if (!is_lit && line.pipe == snapshot.pipe) canvas.outline(row, kPale, 2.0F, 8);
        const ImU32 ink = is_lit ? kGround : line.to_do ? kPale : kFaint;
        const float right = canvas.width({kBody, ink}, line.stop);
        canvas.text({row.right - 14, row.top + 40}, {kBody, ink, false, Align::right}, line.stop);
        canvas.text_within({row.left + 16, row.top + 46}, row.width() - right - 50,
                           {kLadder, ink, true}, kLarge, line.note);
        canvas.text_within({row.left + 16, row.bottom - 12}, row.width() - 32,
                           {kBody, is_lit       ? kGround
                                   : line.to_do ? kGrey
                                                : kFaint},
                           kSmall * 0.8F, line.why);
    }
    if (shown.empty())
        canvas.paragraph({page.left, top + 30, page.right, page.bottom}, {kLadder, kPale}, kLarge,
                         "Nothing is on the list. What a survey finds is proposed here.");
    canvas.text_within(
        {page.left, place.bottom - 14}, page.width(), {kSmall, kGrey}, kSmall * 0.7F,
        "↑ ↓: choose · Enter or point: go there · D: drop · W: want · X: out of "
        "reach · C: complaint · O: other order · P: write the calls · any other key: "
        "back");
    if (complaint_) complaint_->draw(canvas, place);
}

}  // namespace rankwright::overlay

#include "overlay/stop_list.h"

#include "overlay/theme.h"

#include <algorithm>
#include <string>
#include <vector>

namespace rankwright::overlay {

namespace {

constexpr float kRow = 40.0F;

struct Line {
    std::string words;
    std::optional<std::size_t> stop;  ///< empty: a division's name
};

std::vector<Line> lines_of(const std::vector<StopChoice>& stops) {
    std::vector<Line> lines;
    for (std::size_t i = 0; i < stops.size(); ++i) {
        if (i == 0 || stops[i].division != stops[i - 1].division)
            lines.push_back({stops[i].division, std::nullopt});
        lines.push_back({stops[i].stop, i});
    }
    return lines;
}

}  // namespace

StopList::StopList(const Snapshot& snapshot) {
    for (std::size_t i = 0; i < snapshot.stops.size(); ++i)
        if (snapshot.stops[i].current) lit_ = i;
}

StopList::Outcome StopList::press(const KeyPress& key, const Snapshot& snapshot) {
    const std::size_t count = snapshot.stops.size();
    if (count == 0) return {true, std::nullopt};
    lit_ = std::min(lit_, count - 1);
    const auto division_step = [&](bool on) {
        const std::string here = snapshot.stops[lit_].division;
        std::size_t to = lit_;
        while (snapshot.stops[to].division == here && (on ? to + 1 < count : to > 0))
            on ? ++to : --to;
        if (snapshot.stops[to].division == here) return;
        lit_ = to;
        // Backwards it came upon the division's last stop; its first is wanted.
        while (!on && lit_ > 0 && snapshot.stops[lit_ - 1].division == snapshot.stops[to].division)
            --lit_;
    };
    switch (key.key) {
        case Key::up:
        case Key::page_up:
            if (lit_ > 0) --lit_;
            return {};
        case Key::down:
        case Key::page_down:
            lit_ = std::min(lit_ + 1, count - 1);
            return {};
        case Key::right:
        case Key::tab:
            division_step(true);
            return {};
        case Key::left:
            division_step(false);
            return {};
        case Key::enter:
            return {true, visit::TakeStop{snapshot.stops[lit_].id}};
        case Key::character:
            // A presenter remote has no Enter.
            if (key.character == '.' || key.character == ' ')
                return {true, visit::TakeStop{snapshot.stops[lit_].id}};
            return {true, std::nullopt};
        case Key::escape:
        case Key::erase:
        case Key::text:
            break;
    }
    return {true, std::nullopt};
}

void StopList::draw(Canvas& canvas, const Rect& place, const Snapshot& snapshot) const {
    canvas.fill(place, kGround);
    const Rect page{place.left + 40, place.top + 30, place.right - 40, place.bottom - 50};
    canvas.text({page.left, page.top + 44}, {kLadder, kPale, true}, "Which stop?");
    const std::vector<Line> lines = lines_of(snapshot.stops);
    const float top = page.top + 78;
    const auto rows = static_cast<std::size_t>(std::max(4.0F, (page.bottom - top) / kRow));
    const std::size_t columns = (lines.size() + rows - 1) / rows;
    const float width = page.width() / static_cast<float>(std::max<std::size_t>(columns, 3));
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const std::size_t column = i / rows;
        const float left = page.left + width * static_cast<float>(column);
        const float y = top + kRow * static_cast<float>(i % rows);
        const Rect row{left, y, left + width - 14, y + kRow - 4};
        const Line& line = lines[i];
        if (!line.stop) {
            canvas.text_within({row.left + 8, row.bottom - 8}, row.width() - 16, {kSmall, kGrey},
                               kSmall * 0.7F, line.words);
            continue;
        }
        const bool lit = *line.stop == lit_;
        if (lit)
            canvas.fill(row, kPale, 6);
        else if (snapshot.stops[*line.stop].current)
            canvas.outline(row, kPale, 2.0F, 6);
        canvas.text_within({row.left + 10, row.bottom - 8}, row.width() - 20,
                           {kBody, lit ? kGround : kPale, lit}, kSmall * 0.7F, line.words);
    }
    canvas.text_within({place.left + 40, place.bottom - 16}, page.width(), {kSmall, kGrey},
                       kSmall * 0.8F,
                       "↑ ↓ or page up, page down: choose · ← →: other division · "
                       "Enter or point: take it · any other key: back");
}

}  // namespace rankwright::overlay

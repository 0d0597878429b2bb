#include "overlay/fault_list.h"

#include "overlay/theme.h"
#include "visit/faults.h"

#include <algorithm>
#include <string>

namespace rankwright::overlay {

namespace {
// "Dead" isn't while the pipe may stand in a node of the room.
bool is_offered(std::size_t fault, const Snapshot& snapshot) {
    return fault > 0 || !snapshot.unheard_treble;
}

FaultList::Outcome noted(std::size_t fault, const Snapshot& snapshot) {
    if (!is_offered(fault, snapshot)) return {};
    return {true, visit::NoteFault{std::string(visit::kFaults[fault])}};
}
}  // namespace

FaultList::Outcome FaultList::press(const KeyPress& key, const Snapshot& snapshot) {
    switch (key.key) {
        case Key::up:
        case Key::page_up:
            if (lit_ > 0) --lit_;
            return {};
        case Key::down:
        case Key::page_down:
            lit_ = std::min(lit_ + 1, visit::kFaults.size() - 1);
            return {};
        case Key::enter:
            return noted(lit_, snapshot);
        case Key::character:
            // A presenter remote has no Enter.
            if (key.character == '.' || key.character == ' ') return noted(lit_, snapshot);
            if (key.character >= '1' && key.character <= '9')
                return noted(static_cast<std::size_t>(key.character - '1'), snapshot);
            break;
        default:
            break;
    }
    return {true, std::nullopt};
}

void FaultList::draw(Canvas& canvas, const Rect& place, const Snapshot& snapshot) const {
    canvas.fill(place, kGround);
    const Rect page{place.left + 40, place.top + 30, place.right - 40, place.bottom - 50};
    canvas.text_within({page.left, page.top + 44}, page.width(), {kLadder, kPale, true}, kLarge,
                       snapshot.note + ": what is wrong?");
    constexpr float kRow = 64.0F;
    float top = page.top + 76;
    for (std::size_t i = 0; i < visit::kFaults.size(); ++i, top += kRow) {
        const Rect row{page.left, top, page.right, top + kRow - 6};
        const bool lit = i == lit_;
        if (lit) canvas.fill(row, kPale, 8);
        const bool offered = is_offered(i, snapshot);
        const ImU32 ink = lit ? kGround : offered ? kPale : kGrey;
        std::string words(visit::kFaults[i]);
        if (!offered) words += ": first move the microphone a hand's breadth and hear it again";
        canvas.text({row.left + 20, row.bottom - 14}, {kLadder, ink, true}, std::to_string(i + 1));
        canvas.text_within({row.left + 84, row.bottom - 14}, row.width() - 104, {kLadder, ink, lit},
                           kSmall, words);
    }
    canvas.text_within({page.left, place.bottom - 16}, page.width(), {kSmall, kGrey}, kSmall * 0.8F,
                       "its digit, or ↑ ↓ and Enter or point: note it · any other key: back");
}

}  // namespace rankwright::overlay

#include "overlay/panels.h"

#include <algorithm>
#include <vector>

#include <imgui.h>

namespace rankwright::overlay {

const Notice* urgent_notice(const Snapshot& snapshot) {
    const auto found = std::find_if(snapshot.notices.begin(), snapshot.notices.end(),
                                    [](const Notice& notice) { return notice.urgent; });
    return found == snapshot.notices.end() ? nullptr : &*found;
}

void draw_caution_mark(Canvas& canvas, Point centre, float size) {
    const float half = size / 2;
    canvas.shape({{centre.x, centre.y - half},
                  {centre.x + half * 1.1F, centre.y + half},
                  {centre.x - half * 1.1F, centre.y + half}},
                 kWarm);
    canvas.line({centre.x, centre.y - size * 0.2F}, {centre.x, centre.y + size * 0.18F}, kGround,
                size * 0.12F);
    canvas.line({centre.x, centre.y + size * 0.28F}, {centre.x, centre.y + size * 0.4F}, kGround,
                size * 0.12F);
}

bool draw_notice(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    std::vector<const Notice*> calm;
    for (const Notice& notice : snapshot.notices)
        if (!notice.urgent) calm.push_back(&notice);
    if (calm.empty()) return false;
    // There is room for one: several take turns, each long enough to be read.
    constexpr double kTurn_s = 6.0;
    const auto turn = static_cast<std::size_t>(ImGui::GetTime() / kTurn_s);
    const Notice& shown = *calm[turn % calm.size()];
    draw_caution_mark(canvas, {place.left + 16, place.centre().y}, 28);
    constexpr float kLeastEm = 17.0F;
    canvas.paragraph({place.left + 42, place.top, place.right, place.bottom + 6}, {kBody, kPale},
                     kLeastEm, shown.words);
    return true;
}

void draw_trouble(Canvas& canvas, const Rect& place, const Notice& notice) {
    canvas.fill(place, kGround);
    canvas.outline(place.inset(4), kWarm, 6, 10);
    const float mark = std::min(100.0F, place.height() * 0.6F);
    draw_caution_mark(canvas, {place.left + 34 + mark / 2, place.centre().y}, mark);
    canvas.paragraph({place.left + 60 + mark, place.top + 10, place.right - 22, place.bottom - 4},
                     {kHuge, kPale, true}, kLarge, notice.words);
}

}  // namespace rankwright::overlay

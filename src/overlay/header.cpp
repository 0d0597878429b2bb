#include "overlay/panels.h"

#include <algorithm>

namespace rankwright::overlay {

void draw_header(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kPlate);
    constexpr float kMargin = 24.0F;
    constexpr float kGap = 30.0F;
    const float baseline = place.bottom - 16;
    float left = place.left + kMargin;
    float right = place.right - kMargin;

    std::string input = snapshot.level_words;
    if (snapshot.dropped_frames + snapshot.overruns > 0) {
        if (!input.empty()) input += " · ";
        input += snapshot.dropped_frames > 0
                     ? std::to_string(snapshot.dropped_frames) + " samples lost"
                     : std::to_string(snapshot.overruns) + " overruns";
    }
    const TextStyle level{kBody, snapshot.level_bad ? kWarm : kGrey, snapshot.level_bad,
                          Align::right};
    constexpr float kMostOfInput = 430.0F;
    right -= canvas.text_within({right, baseline}, kMostOfInput, level, kSmall, input);
    if (snapshot.level_bad) {
        draw_caution_mark(canvas, {right - 24, place.centre().y}, 26);
        right -= 42;
    }
    right -= kGap;

    const float most_of_stop = (right - left) * 0.48F;
    left += canvas.text_within({left, baseline}, most_of_stop, {kBody, kPale, true}, kSmall,
                               snapshot.stop) +
            kGap;
    // What a pipe is tuned from must be seen; the day can be looked up.
    if (!snapshot.reference.empty())
        left += canvas.text_within({left, baseline}, (right - left) * 0.6F, {kBody, kGrey}, kSmall,
                                   snapshot.job) +
                kGap;
    const std::string day = day_words(snapshot);
    const TextStyle grey{kBody, kGrey};
    const TextStyle grey_right{kBody, kGrey, false, Align::right};
    const float room = right - left;
    const float day_width = canvas.text_within({right, baseline}, room, grey_right, kSmall, day);
    const float left_over = room - day_width - kGap;
    if (snapshot.reference.empty() && left_over > canvas.width({kSmall}, snapshot.job))
        canvas.text_within({left, baseline}, left_over, grey, kSmall, snapshot.job);
}

}  // namespace rankwright::overlay

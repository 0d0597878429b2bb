#include "organ/learned_moves.h"

#include "core/text.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::organ {

void LearnedMoves::moved(Hertz before, Cents change) {
    constexpr double kTeachesNothing = 0.1;
    if (std::abs(change.value()) < kTeachesNothing) return;
    (change > Cents{0.0} ? sharpened_ : flattened_) = change.value() / before.value();
}

void LearnedMoves::forget() { *this = {}; }

std::optional<double> LearnedMoves::moves_for(Hertz now, Cents needed) const {
    const auto& same_way = needed > Cents{0.0} ? sharpened_ : flattened_;
    const auto& other_way = needed > Cents{0.0} ? flattened_ : sharpened_;
    const auto& like = same_way ? same_way : other_way;
    if (!like) return std::nullopt;
    return std::abs(needed.value() / (*like * now.value()));
}

std::string LearnedMoves::amount(Hertz now, Cents needed) const {
    const auto moves = moves_for(now, needed);
    if (!moves) return {};
    constexpr std::array<const char*, 5> kWords{"one tap", "about two taps", "about three taps",
                                                "about four taps", "about five taps"};
    if (*moves < 0.35) return "a touch, far less than the last tap";
    if (*moves < 0.75) return "about half a tap like the last";
    const auto whole = static_cast<std::size_t>(std::lround(std::min(*moves, 100.0)));
    if (whole <= kWords.size()) return text_of({kWords[whole - 1], " like the last"});
    if (whole <= 12) return text_of({"about ", std::to_string(whole), " taps like the last"});
    return "much more than the last tap";
}

}  // namespace rankwright::organ

#include "organ/learned_moves.h"

#include "core/text.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::organ {

void LearnedMoves::moved(Hertz before, Cents change, std::optional<Millimetres> by) {
    constexpr double kTeachesNothing = 0.1;
    if (std::abs(change.value()) < kTeachesNothing) return;
    Move move{change.value() / before.value(), std::nullopt};
    if (by && by->value() != 0.0) move.effect_per_mm = std::abs(move.effect / by->value());
    moves_.push_back(move);
}

void LearnedMoves::forget() { moves_.clear(); }

std::optional<double> LearnedMoves::moves_for(Hertz now, Cents needed) const {
    if (moves_.empty()) return std::nullopt;
    const auto same_way = [&](const Move& move) {
        return (move.effect > 0.0) == (needed > Cents{0.0});
    };
    const auto last = std::find_if(moves_.rbegin(), moves_.rend(), same_way);
    const Move& like = last == moves_.rend() ? moves_.back() : *last;
    return std::abs(needed.value() / (like.effect * now.value()));
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

std::optional<Millimetres> LearnedMoves::millimetres_for(Hertz now, Cents needed) const {
    constexpr std::size_t kMost = 5;
    std::vector<double> effects;
    for (auto move = moves_.rbegin(); move != moves_.rend() && effects.size() < kMost; ++move)
        if (move->effect_per_mm) effects.push_back(*move->effect_per_mm);
    if (effects.empty()) return std::nullopt;
    const auto middle = effects.begin() + static_cast<std::ptrdiff_t>(effects.size() / 2);
    std::nth_element(effects.begin(), middle, effects.end());
    return Millimetres{std::abs(needed.value() / (*middle * now.value()))};
}

}  // namespace rankwright::organ

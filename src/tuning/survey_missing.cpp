// Keys of the play that weren't heard.
#include "core/median.h"
#include "tuning/survey_judge.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <utility>

namespace rankwright::tuning {

/// Typical time from one key's onset to the next's.
std::optional<double> SurveyJudge::cadence() const {
    std::vector<double> steps;
    for (std::size_t r = 1; r < result_.readings.size(); ++r)
        steps.push_back(
            (at(result_.readings[r].tone.from) - at(result_.readings[r - 1].tone.from)).count());
    if (steps.size() < 3) return std::nullopt;
    return median(std::move(steps));
}

/// The keys of the rank that play comes to, going on by single keys or by chest sides.
std::vector<int> SurveyJudge::keys_between(int from, int to, int stride) const {
    std::vector<int> keys;
    for (const auto& [key, pipe] : by_key_)
        if (key > std::min(from, to) && key < std::max(from, to) && (key - from) % stride == 0)
            keys.push_back(key);
    return keys;
}

void SurveyJudge::find_missing() {
    std::set<int> heard;
    for (const SurveyReading& reading : result_.readings)
        heard.insert(reading.pipe.key);
    if (heard.empty()) return;
    constexpr int kGap = 6;  // keys: a longer one is a jump
    const auto typical = cadence();
    std::map<int, SurveyFault> missing;
    std::size_t last = 0;
    for (std::size_t r = 1; r < result_.readings.size(); ++r) {
        // A cipher is heard out of its turn: the play doesn't jump to it and back.
        if (ciphers(result_.readings[r].pipe.key)) continue;
        const SurveyReading& before = result_.readings[std::exchange(last, r)];
        const SurveyReading& after = result_.readings[r];
        const int step = std::abs(after.pipe.key - before.pipe.key);
        const int stride = plays_sides(r) ? 2 : 1;
        if (step <= stride || step > kGap * stride) continue;
        const auto keys = keys_between(before.pipe.key, after.pipe.key, stride);
        const double passed = (at(after.tone.from) - at(before.tone.from)).count();
        for (const int key : keys) {
            if (heard.contains(key) || tremulant_) continue;
            // Of what a cipher hides nobody knows whether it sounds.
            if (one_ciphers(after.tone.from)) {
                hidden_.insert(key);
                continue;
            }
            SurveyFault& one = missing[key];
            one.kind = FaultKind::missing;
            one.pipe = by_key_.at(key);
            one.at = before.tone.to;
            one.sounded = something_between(before, after);
            if (typical)
                one.time_passed =
                    passed > (0.4 + 0.6 * static_cast<double>(keys.size() + 1)) * *typical;
        }
    }
    for (const auto& [key, one] : missing)
        result_.faults.push_back(one);
    // Next to the ends of the play too.
    if (one_ciphers(result_.readings.back().tone.from))
        for (const auto& [key, pipe] : by_key_)
            if (key > *heard.begin() - kGap && key < *heard.rbegin() + kGap &&
                (key < *heard.begin() || key > *heard.rbegin()))
                hidden_.insert(key);
    for (const auto& [key, pipe] : by_key_)
        if (!heard.contains(key) && !missing.contains(key))
            (hidden_.contains(key) ? result_.hidden : result_.not_played).push_back(pipe);
}

/// Whether something sounded between two readings, for as long as a key is held, that is none
/// of the rank's pipes; softer is the wind in a silent one.
bool SurveyJudge::something_between(const SurveyReading& before, const SurveyReading& after) const {
    constexpr Seconds kHeld{1.0};
    constexpr Decibels kSofter{20.0};
    for (std::size_t i = 0; i < tones_.size(); ++i) {
        const HeardTone& tone = tones_[i];
        if (tone.from < before.tone.left || tone.from > after.tone.from) continue;
        if (tone.unread_before > kHeld) return true;
        if (!placed(i) && tone.lasted(rate_) > kHeld && tone.level > before.tone.level - kSofter)
            return true;
    }
    return false;
}

/// Whether the keys about the r-th step go by whole tones.
bool SurveyJudge::plays_sides(std::size_t r) const {
    int by_two = 0, by_one = 0;
    constexpr std::size_t kAround = 4;
    for (std::size_t i = r > kAround ? r - kAround : 1;
         i < std::min(result_.readings.size(), r + kAround + 1); ++i) {
        const int step = std::abs(result_.readings[i].pipe.key - result_.readings[i - 1].pipe.key);
        by_two += step == 2 ? 1 : 0;
        by_one += step == 1 ? 1 : 0;
    }
    return by_two > by_one;
}

}  // namespace rankwright::tuning

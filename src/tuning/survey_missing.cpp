// Keys of the play that weren't heard.
#include "core/median.h"
#include "tuning/survey_judging.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::tuning {

namespace {

using Readings = std::vector<SurveyReading>;

/// Typical time from one key's onset to the next's, in frames.
std::optional<double> cadence(const Readings& readings) {
    std::vector<double> steps;
    for (std::size_t r = 1; r < readings.size(); ++r)
        steps.push_back(static_cast<double>(readings[r].tone.from - readings[r - 1].tone.from));
    if (steps.size() < 3) return std::nullopt;
    return median(std::move(steps));
}

/// Whether the keys about the r-th step go by whole tones.
bool plays_sides(const Readings& readings, std::size_t r) {
    int by_two = 0, by_one = 0;
    constexpr std::size_t kAround = 4;
    for (std::size_t i = r > kAround ? r - kAround : 1;
         i < std::min(readings.size(), r + kAround + 1); ++i) {
        const int step = std::abs(readings[i].pipe.key - readings[i - 1].pipe.key);
        by_two += step == 2 ? 1 : 0;
        by_one += step == 1 ? 1 : 0;
    }
    return by_two > by_one;
}

/// The keys of the rank that play comes to, going on by single keys or by chest sides.
std::vector<int> keys_between(const PlacedTones& placed, int from, int to, int stride) {
    std::vector<int> keys;
    for (const auto& [key, pipe] : placed.pipes)
        if (key > std::min(from, to) && key < std::max(from, to) && (key - from) % stride == 0)
            keys.push_back(key);
    return keys;
}

/// Whether something sounded between two readings, for as long as a key is held, that is none
/// of the rank's pipes; softer is the wind in a silent one.
bool something_between(const PlacedTones& placed, const SurveyReading& before,
                       const SurveyReading& after) {
    constexpr Seconds kHeld{1.0};
    constexpr Decibels kSofter{20.0};
    for (std::size_t i = 0; i < placed.tones.size(); ++i) {
        const HeardTone& tone = placed.tones[i];
        if (tone.from < before.tone.left || tone.from > after.tone.from) continue;
        if (tone.unread_before > kHeld) return true;
        if (!placed.at_key(i) && tone.lasted(placed.rate) > kHeld &&
            tone.level > before.tone.level - kSofter)
            return true;
    }
    return false;
}

}  // namespace

UnheardKeys find_unheard(const PlacedTones& placed, const Ciphers& ciphers,
                         const SurveyReadings& read) {
    constexpr int kGap = 6;  // keys: a longer one is a jump
    const Readings& readings = read.readings;
    if (readings.empty()) return {};
    std::set<int> heard, hidden = read.hidden;
    for (const SurveyReading& reading : readings)
        heard.insert(reading.pipe.key);
    const auto typical = cadence(readings);
    std::map<int, SurveyFault> missing;
    std::size_t last = 0;
    for (std::size_t r = 1; r < readings.size() && !placed.tremulant; ++r) {
        // A cipher is heard out of its turn: the play doesn't jump to it and back.
        if (ciphers.at_key(readings[r].pipe.key)) continue;
        const SurveyReading& before = readings[std::exchange(last, r)];
        const SurveyReading& after = readings[r];
        const int step = std::abs(after.pipe.key - before.pipe.key);
        const int stride = plays_sides(readings, r) ? 2 : 1;
        if (step <= stride || step > kGap * stride) continue;
        const auto keys = keys_between(placed, before.pipe.key, after.pipe.key, stride);
        const auto passed = static_cast<double>(after.tone.from - before.tone.from);
        for (const int key : keys) {
            if (heard.contains(key)) continue;
            // Of what a cipher hides nobody knows whether it sounds.
            if (ciphers.sound(after.tone.from)) {
                hidden.insert(key);
                continue;
            }
            SurveyFault& one = missing[key];
            one.kind = FaultKind::missing;
            one.pipe = placed.pipes.at(key);
            one.at = before.tone.to;
            one.sounded = something_between(placed, before, after);
            if (typical)
                one.time_passed =
                    passed > (0.4 + 0.6 * static_cast<double>(keys.size() + 1)) * *typical;
        }
    }
    // Next to the ends of the play too.
    if (ciphers.sound(readings.back().tone.from))
        for (const auto& [key, pipe] : placed.pipes)
            if (key > *heard.begin() - kGap && key < *heard.rbegin() + kGap &&
                (key < *heard.begin() || key > *heard.rbegin()))
                hidden.insert(key);
    UnheardKeys unheard;
    for (const auto& [key, one] : missing)
        unheard.missing.push_back(one);
    for (const auto& [key, pipe] : placed.pipes)
        if (!heard.contains(key) && !missing.contains(key))
            (hidden.contains(key) ? unheard.hidden : unheard.not_played).push_back(pipe);
    return unheard;
}

}  // namespace rankwright::tuning

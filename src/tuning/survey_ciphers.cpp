// Pipes that sound on under the keys after them, and what they hide.
#include "tuning/survey_judge.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>

namespace rankwright::tuning {

// A cipher sounds out of its key's turn, in no order; its pitch alone tells the key.
void SurveyJudge::place_by_pitch(std::size_t tone) {
    constexpr Cents kOwn{60.0};
    Cents nearest = kOwn;
    for (const auto& [key, pipe] : by_key_) {
        const Hertz expected = transpose(target_on(plan_.day, pipe), placing_.offset);
        const Cents off = interval(expected, tones_[tone].pitch);
        if (std::abs(off.value()) >= nearest.value()) continue;
        nearest = Cents{std::abs(off.value())};
        placing_.tones[tone].key = key;
        placing_.tones[tone].slip = Slip::none;
    }
}

// A pipe that is heard again and again between the other keys was never let go.
void SurveyJudge::find_ciphers() {
    if (tremulant_) return;
    for (std::size_t i = 0; i < tones_.size(); ++i)
        if (tones_[i].goes_on) place_by_pitch(i);
    std::map<int, std::vector<std::size_t>> heard;  // by key, of the tones in place
    std::size_t in_place = 0;
    std::vector<std::size_t> place_of(tones_.size(), 0);
    for (std::size_t i = 0; i < tones_.size(); ++i) {
        if (!placed(i)) continue;
        heard[*placing_.tones[i].key].push_back(i);
        place_of[i] = in_place++;
    }
    for (const auto& [key, times] : heard) {
        constexpr std::size_t kTimes = 3;
        constexpr Cents kSamePitch{15.0};
        const auto lasting = std::find_if(times.begin(), times.end(),
                                          [&](std::size_t t) { return tones_[t].goes_on; });
        const bool goes_on = lasting != times.end();
        const std::size_t own = goes_on ? *lasting : times[0];
        const HeardTone& first = tones_[own];
        std::vector<std::size_t> again;  // with another key before it
        for (std::size_t t = 1; t < times.size(); ++t) {
            const bool same = std::abs(interval(tones_[times[t]].pitch, first.pitch).value()) <
                              kSamePitch.value();
            if (same && place_of[times[t]] > place_of[times[t - 1]] + 1) again.push_back(times[t]);
        }
        if (!goes_on && again.size() < kTimes) continue;
        under_cipher_.insert(again.begin(), again.end());
        // In its own turn too it is heard no other way.
        if (goes_on) under_cipher_.insert(std::next(lasting), times.end());
        // What is heard of a cipher between the keys may be one of its partials.
        if (covered(first.pitch, first.from)) continue;
        fault(FaultKind::cipher, by_key_.at(key), first.from);
        ciphers_.push_back(own);
    }
}

/// Whether a pipe sounds that wasn't asked for.
bool SurveyJudge::one_ciphers(FrameIndex when) const {
    return std::any_of(ciphers_.begin(), ciphers_.end(),
                       [&](std::size_t cipher) { return when >= tones_[cipher].from; });
}

bool SurveyJudge::ciphers(int key) const {
    return std::any_of(ciphers_.begin(), ciphers_.end(),
                       [&](std::size_t cipher) { return placing_.tones[cipher].key == key; });
}

// What a cipher's partials cover, as its own octaves, can't be heard while it sounds.
bool SurveyJudge::covered(Hertz pitch, FrameIndex when) const {
    return std::any_of(ciphers_.begin(), ciphers_.end(), [&](std::size_t cipher) {
        return when >= tones_[cipher].from && covers(tones_[cipher], pitch);
    });
}

bool SurveyJudge::speech_hidden(const HeardTone& tone) const {
    return std::any_of(ciphers_.begin(), ciphers_.end(), [&](std::size_t cipher) {
        return tone.left > tones_[cipher].from && hides_speech(tones_[cipher], tone);
    });
}

}  // namespace rankwright::tuning

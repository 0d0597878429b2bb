// Pipes that sound on under the keys after them, and what they hide.
#include "tuning/covering.h"
#include "tuning/survey_judging.h"

#include <algorithm>
#include <iterator>

namespace rankwright::tuning {

bool Ciphers::at_key(int key) const {
    return std::any_of(all.begin(), all.end(), [&](const Cipher& one) { return one.key == key; });
}

bool Ciphers::sound(FrameIndex when) const {
    return std::any_of(all.begin(), all.end(),
                       [&](const Cipher& one) { return when >= one.first.from; });
}

bool Ciphers::cover(Hertz pitch, FrameIndex when) const {
    return std::any_of(all.begin(), all.end(), [&](const Cipher& one) {
        return when >= one.first.from && covers(one.first, pitch);
    });
}

bool Ciphers::hide_speech(const HeardTone& tone) const {
    return std::any_of(all.begin(), all.end(), [&](const Cipher& one) {
        return tone.left > one.first.from && hides_speech(one.first, tone);
    });
}

// A pipe that is heard again and again between the other keys was never let go.
Ciphers find_ciphers(const PlacedTones& placed) {
    constexpr std::size_t kTimes = 3;
    constexpr Cents kSamePitch{15.0};
    const std::vector<HeardTone>& tones = placed.tones;
    std::map<int, std::vector<std::size_t>> heard;  // by key, of the tones in place
    std::size_t in_place = 0;
    std::vector<std::size_t> place_of(tones.size(), 0);
    for (std::size_t i = 0; i < tones.size(); ++i) {
        if (!placed.at_key(i)) continue;
        heard[*placed.placing.tones[i].key].push_back(i);
        place_of[i] = in_place++;
    }
    Ciphers found;
    for (const auto& [key, times] : heard) {
        const auto lasting = std::find_if(times.begin(), times.end(),
                                          [&](std::size_t t) { return tones[t].goes_on; });
        const bool goes_on = lasting != times.end();
        const HeardTone& first = tones[goes_on ? *lasting : times[0]];
        std::vector<std::size_t> again;  // with another key before it
        for (std::size_t t = 1; t < times.size(); ++t) {
            const bool same = apart(tones[times[t]].pitch, first.pitch) < kSamePitch;
            if (same && place_of[times[t]] > place_of[times[t - 1]] + 1) again.push_back(times[t]);
        }
        if (!goes_on && again.size() < kTimes) continue;
        found.again.insert(again.begin(), again.end());
        // In its own turn too it is heard no other way.
        if (goes_on) found.again.insert(std::next(lasting), times.end());
        // What is heard of a cipher between the keys may be one of its partials.
        if (!found.cover(first.pitch, first.from)) found.all.push_back({key, first});
    }
    return found;
}

}  // namespace rankwright::tuning

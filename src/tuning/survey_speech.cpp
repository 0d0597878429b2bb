// How the pipes spoke.
#include "core/multiple.h"
#include "tuning/survey_judging.h"

#include <algorithm>

namespace rankwright::tuning {

namespace {

/// A flue overblows to a multiple of its note before it finds it.
bool is_overblown(const HeardTone& tone) {
    constexpr Cents kNear{100.0};
    return partial_near(tone.pitch, *tone.spoke_first, kNear).value_or(0) > 1;
}

}  // namespace

std::vector<SurveyFault> find_slips(const std::vector<SurveyReading>& readings,
                                    const Ciphers& ciphers) {
    std::vector<SurveyFault> faults;
    for (const auto& [pipe, tone, target, deviation, slip] : readings)
        if (slip != Slip::none && !ciphers.at_key(pipe.key))
            faults.push_back(
                {FaultKind::octave, pipe, tone.from, size_of(slip), {}, {}, {}, false});
    return faults;
}

std::vector<SurveyFault> find_slow_speech(const std::vector<SurveyReading>& readings,
                                          const Ciphers& ciphers) {
    // A pipe that needs so long isn't in order: 40 periods are the longest onset of a good one,
    // and in a room the ear may need most of a second of its own. Where it read the pipe on its
    // way, it lost no time.
    constexpr double kPeriods = 80.0, kPeriodsSeen = 40.0;
    constexpr Seconds kLeast{1.0}, kSeen{0.3}, kLeastSeen{0.7};
    std::vector<SurveyFault> faults;
    for (const SurveyReading& reading : readings) {
        const HeardTone& tone = reading.tone;
        // Of a cipher nobody heard how it began at its key, nor of what it hides.
        if (tone.tremulant || tone.onset_disturbed || ciphers.at_key(reading.pipe.key) ||
            ciphers.hide_speech(tone))
            continue;
        const Seconds allowed =
            tone.crept ? std::max(kLeastSeen, kSeen + Seconds{kPeriodsSeen / tone.pitch.value()})
                       : kLeast + Seconds{kPeriods / tone.pitch.value()};
        const bool other_note = tone.spoke_first && !reading.pipe.make.reed() && is_overblown(tone);
        if (tone.speech && *tone.speech < allowed && !other_note) continue;
        SurveyFault& one = faults.emplace_back();
        one.kind = FaultKind::off_speech;
        one.pipe = reading.pipe;
        one.at = tone.from;
        one.speech = tone.speech;
        if (other_note) one.heard = tone.spoke_first;
    }
    return faults;
}

}  // namespace rankwright::tuning

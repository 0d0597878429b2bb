// How the pipes spoke.
#include "core/multiple.h"
#include "tuning/survey_judge.h"

#include <algorithm>

namespace rankwright::tuning {

void SurveyJudge::find_slips() {
    for (const SurveyReading& reading : result_.readings)
        if (reading.slip != Slip::none && !ciphers(reading.pipe.key))
            fault(FaultKind::octave, reading.pipe, reading.tone.from).interval =
                size_of(reading.slip);
}

void SurveyJudge::find_slow_speech() {
    // A pipe that needs so long isn't in order: 40 periods are the longest onset of a good one,
    // and in a room the ear may need most of a second of its own. Where it read the pipe on its
    // way, it lost no time.
    constexpr double kPeriods = 80.0, kPeriodsSeen = 40.0;
    constexpr Seconds kLeast{1.0}, kSeen{0.3}, kLeastSeen{0.7};
    for (const SurveyReading& reading : result_.readings) {
        const HeardTone& tone = reading.tone;
        // Of a cipher nobody heard how it began at its key, nor of what it hides.
        if (tone.tremulant || tone.onset_disturbed || ciphers(reading.pipe.key) ||
            speech_hidden(tone))
            continue;
        const Seconds allowed =
            tone.crept ? std::max(kLeastSeen, kSeen + Seconds{kPeriodsSeen / tone.pitch.value()})
                       : kLeast + Seconds{kPeriods / tone.pitch.value()};
        const bool other_note = tone.spoke_first && !reading.pipe.make.reed() && is_overblown(tone);
        if (tone.speech && *tone.speech < allowed && !other_note) continue;
        SurveyFault& one = fault(FaultKind::off_speech, reading.pipe, tone.from);
        one.speech = tone.speech;
        if (other_note) one.heard = tone.spoke_first;
    }
}

/// A flue overblows to a multiple of its note before it finds it.
bool SurveyJudge::is_overblown(const HeardTone& tone) {
    constexpr Cents kNear{100.0};
    return partial_near(tone.pitch, *tone.spoke_first, kNear).value_or(0) > 1;
}

}  // namespace rankwright::tuning

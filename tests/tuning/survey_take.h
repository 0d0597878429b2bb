// A rank of an invented organ, played in the simulated chamber and kept.
#pragma once

#include "organ/instrument.h"
#include "organ/target.h"
#include "simulator/chamber.h"
#include "support/small_organ.h"
#include "tuning/survey.h"
#include "tuning/survey_recording.h"

#include <cstddef>
#include <cstdint>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::tuning::survey_take {

inline constexpr double kRate = 24000.0;
inline constexpr int kKeys = 25;

struct Played {
    int key;
    double from_s, to_s;
};

/// Plays in the chamber and keeps what was heard.
struct Take {
    explicit Take(std::uint64_t seed, const char* drawn = "octave", Cents mistuning = Cents{5.0},
                  int lowest_midi = 48, organ::PipeKind principal = organ::PipeKind::open)
        : instrument(testing::two_stop_organ(kKeys, lowest_midi, principal)),
          chamber(instrument, {.rate = SampleRate{kRate}, .seed = seed, .mistuning = mistuning}) {
        chamber.draw_stop("great", drawn, true);
        wait(0.8);
    }
    double now_s() const { return static_cast<double>(sound.size()) / kRate; }
    void wait(double seconds) {
        std::vector<float> next(static_cast<std::size_t>(seconds * kRate));
        chamber.render(next);
        sound.insert(sound.end(), next.begin(), next.end());
    }
    void press(int key, double seconds = 1.8) {
        const double from = now_s();
        chamber.key_down("great", key);
        wait(seconds);
        played.push_back({key, from, now_s()});
        if (key != stuck) chamber.key_up("great", key);
        wait(0.3);
    }
    SurveyPlan plan(const char* stop) const {
        return {&instrument, organ::pipes(organ::stop_by_id(instrument, "great", stop)), {}};
    }
    SurveyResult survey(const char* stop = "octave") const {
        return survey_recording(plan(stop), sound, SampleRate{kRate}, 1);
    }
    /// The key that was down in the middle of a reading.
    int down(const SurveyReading& reading) const {
        const double at =
            duration(reading.tone.stood - FrameIndex{}, SampleRate{kRate}).count() +
            0.5 * duration(reading.tone.to - reading.tone.stood, SampleRate{kRate}).count();
        for (const Played& one : played)
            if (at >= one.from_s && at <= one.to_s) return one.key;
        return 0;
    }
    void expect_in_place(const SurveyResult& result) const {
        for (const SurveyReading& reading : result.readings)
            EXPECT_EQ(reading.pipe.key, down(reading)) << reading.tone.pitch.value() << " Hz";
    }

    organ::Instrument instrument;
    simulator::Chamber chamber;
    std::vector<float> sound;
    std::vector<Played> played;
    int stuck = 0;  ///< key whose pallet doesn't close
};

inline std::vector<const SurveyFault*> of_kind(const SurveyResult& result, FaultKind kind) {
    std::vector<const SurveyFault*> faults;
    for (const SurveyFault& fault : result.faults)
        if (fault.kind == kind) faults.push_back(&fault);
    return faults;
}

/// What the ear makes of a key of a rank in tune, which speaks at once and is heard for `heard_s`.
inline HeardTone tone_of(const Take& take, const SurveyPlan& plan, int key, double began_s,
                         double heard_s) {
    HeardTone tone;
    tone.from = FrameIndex{} + static_cast<std::int64_t>(began_s * kRate);
    tone.stood = tone.from + static_cast<std::int64_t>(0.2 * kRate);
    tone.to = tone.left = tone.from + static_cast<std::int64_t>(heard_s * kRate);
    tone.pitch = tone.about =
        organ::target(take.instrument, plan.pipes[static_cast<std::size_t>(key - 1)], {});
    tone.uncertainty = Cents{0.1};
    tone.read = true;
    tone.speech = Seconds{0.2};
    return tone;
}

}  // namespace rankwright::tuning::survey_take

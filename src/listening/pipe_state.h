// What the ear for one pipe keeps between steps; private to pipe_listener.cpp, which takes the
// sound and reports, and pipe_judging.cpp, which decides what is a pipe and which note it sounds.
#pragma once

#include "listening/input_meter.h"
#include "listening/pipe_listener.h"
#include "listening/sound_history.h"
#include "listening/stream_steps.h"
#include "listening/tone_finder.h"
#include "listening/tone_follower.h"

#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

struct PipeListener::State {
    static constexpr Cents kFirstReading{1.3};

    explicit State(const Parameters& parameters)
        : rate(parameters.rate),
          channels(parameters.channels),
          taken_out(parameters.taken_out),
          sound(parameters.rate, parameters.channels),
          finder(sound.rate(), parameters.channels, taken_out),
          active(sound.rate(), parameters.channels),
          trial(sound.rate(), parameters.channels),
          steps(parameters.rate, parameters.channels, sound.thinning()) {
        frames.reserve(static_cast<std::size_t>(kFramesKept.count() * kSteps_hz / kFrameEvery));
        last_lines.reserve(kMostPartials);
        hearing.rate = rate;
    }

    void take(FrameIndex first, std::span<const float> interleaved);
    void lose(FrameIndex next_first);
    void analyse();
    void judge_active();
    void judge_trial();
    void begin_trial();
    void try_note(Hertz pitch, FrameIndex onset);
    bool only_rings(const ToneFollower& tone) const;
    bool soft_as_wind(const ToneFollower& tone) const;
    bool is_still_wind(const ToneFollower& tone) const;
    bool is_of_another_note(const ToneFollower& tone) const;
    bool awaited(const ToneFollower& tone) const;
    bool is_multiple_of_awaited(const ToneFollower& tone) const;
    int overblown(const ToneFollower& tone) const;
    bool trial_is_a_pipe() const;
    bool trial_replaces_active() const;
    bool own_partials_stand(int m) const;
    void adopt_trial();
    void report();
    std::optional<PitchReading> honest_reading() const;
    void add_partial_frame();
    std::int64_t frames_of(Seconds time) const {
        return static_cast<std::int64_t>(time.count() * sound.rate().value());
    }
    FrameIndex of_stream(FrameIndex thinned) const { return {thinned.value * sound.thinning()}; }

    SampleRate rate;
    int channels;
    std::vector<SpectralLine> taken_out;
    SoundHistory sound;
    ToneFinder finder;
    ToneFollower active;
    ToneFollower trial;
    InputMeter meter;

    StreamSteps steps;
    std::int64_t step = 0;

    std::optional<Hertz> expected;
    FrameIndex trial_began;
    Hertz first_pitch;  // of the present tone: what ribbons turn against when nothing is awaited
    bool doubtful = false;
    std::vector<SpectralLine> last_lines;  // of the tone that sounds, or sounded last
    FrameIndex last_sounded;
    struct Wind {
        double level_db = -120.0;
        FrameIndex until;
    };
    std::optional<double> loudest_db;  // of the pipes that stood
    Wind wind;                         // that rushed through a silent pipe a moment ago
    struct Ended {
        Hertz pitch;
        double level_db = -120.0;
        FrameIndex at;
    };
    std::optional<Ended> last;  // the tone that ended last
    std::vector<PartialFrame> frames;
    Hearing hearing;
};

}  // namespace rankwright::listening

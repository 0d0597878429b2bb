// A simulated pipe and its reference, heard live as in the window: the chamber with wander, room
// and blower, the helper at the keys, both ears and the job, block by block and without a clock.
// Truth is the simulator's own count of cycles, which no part of the ears knows.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

namespace rankwright::listening {
struct PairHearing;
}
namespace rankwright::tuning {
struct PairedState;
}

namespace rankwright::testing {

struct LivePair {
    std::string stop;  ///< of instruments/emberlow.toml
    int key = 1;
    std::uint64_t seed = 1;
    bool reference_first = true;  ///< heard alone for two seconds
    double off_cents = 8.0;       ///< how far out of tune the pipes are, standard deviation
    double seconds = 6.0;         ///< heard from when both sound
    bool silent = false;          ///< the pipe is dead: nothing but its wind
    int after_key = 0;            ///< this one is let go of just before, if any
    double moved_cents = 0.0;     ///< at once, by a hand that leaves the pipe cool …
    double moved_at_s = 3.0;      ///< … so long after both sound
};

std::string words(const LivePair& c);

/// How the screen did over one press of the keys, counted from when both sounded.
struct LiveOutcome {
    double truth = 0.0;             ///< mean beat
    double reference_hz = 0.0;      ///< of the reference, mean over all the time it sounded
    std::optional<double> first_s;  ///< the first figure
    std::optional<double> right_s;  ///< the first right figure within a cent of the pipe
    double phantom_s = 0.0;         ///< how long figures stood before both sounded
    double told_s = 0.0;            ///< how long both were said to sound before they did
    double alone_s = 0.0;           ///< how long it said "the reference alone"
    double shown_s = 0.0;           ///< how long figures stood …
    double wrong_s = 0.0;           ///< … more than three uncertainties off, or not under "under"
    double worst_cents = 0.0;       ///< of the wrong ones
    double heard = 0.0, sd = 0.0;   ///< the last figure; half of "under" where that was shown
    bool under = false;
    double cent_hz = 1.0;  ///< of the beat
};

/// What a test may look at besides, from the first key on, after each so many seconds of sound.
inline constexpr double kLook_s = 512.0 / 48000.0;
using LiveLook = std::function<void(double since_both_s, const listening::PairHearing&,
                                    const tuning::PairedState&, double true_beat)>;

LiveOutcome hear_live(const LivePair& c, const LiveLook& look = {});

}  // namespace rankwright::testing

// How a pipe of each kind sounds: its partials, its speech, its wind.
#pragma once

#include "core/units.h"
#include "organ/pipe.h"
#include "simulator/random.h"

#include <vector>

namespace rankwright::simulator {

/// A pipe's steady sound at the microphone and the way it starts and stops.
struct Voicing {
    /// One of the strictly harmonic partials, from the first upward.
    struct Partial {
        double level = 0.0;  ///< amplitude, full scale = 1
        double phase = 0.0;  ///< radians
        double rise = 1.0;   ///< grows as (speech)^rise: the upper ones come later
    };
    std::vector<Partial> partials;
    double rise_s = 0.05;      ///< 10 to 90 % of the amplitude
    double release_s = 0.03;   ///< amplitude falls to 1/e
    double glide_cents = 0.0;  ///< off pitch when speech begins …
    double glide_s = 0.02;     ///< … and this falls to 1/e in that time
    double breath = 0.0;       ///< RMS of the steady wind noise, full scale = 1
    double chiff = 0.0;        ///< RMS of the noise while the pipe speaks
    double wandering = 1.0;    ///< beside a flue pipe's
    bool stopped = false;      ///< resonates at odd multiples only
    double stretch = 1.0;      ///< resonances over the sounding pitch: a little sharp
};

/// The voicing of `pipe` sounding at `pitch`. Levels and times follow measurements of open
/// recordings of single pipes (partials, rise times, harmonics over noise); what those don't tell
/// is common practice, no source.
Voicing voicing(const organ::Pipe& pipe, Hertz pitch, Random& random);

}  // namespace rankwright::simulator

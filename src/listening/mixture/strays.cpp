#include "listening/mixture/strays.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kNearest_cents = 25.0, kFarthest_cents = 60.0;
constexpr double kSkirt_cycles = 4.0;  // of a partial's line, over the span
constexpr double kSkirt_cents = 3.0;
/// Of the loudest pipe's power: what leaks is softer.
constexpr double kLeastStray = 0.01;
constexpr double kStrayLouder = 10.0;  // than what was taken for the pipe
constexpr double kStrayStandsOut = 100.0;

double power_heard(const MixturePipeReading& pipe) {
    return pipe.level ? std::pow(10.0, 0.1 * pipe.level->value()) : 0.0;
}

// Whether a partial of anything heard stands there.
bool is_partial_heard(const MixtureReading& reading, double hz, double seconds) {
    const double skirt = std::max(kSkirt_cycles / seconds, kSkirt_cents * kCent * hz);
    const auto has_partial = [&](const MixturePipeReading& pipe) {
        if (!pipe.hz) return false;
        const double partial = std::max(1.0, std::round(hz / pipe.hz->value()));
        return std::abs(hz - partial * pipe.hz->value()) < skirt;
    };
    return std::any_of(reading.pipes.begin(), reading.pipes.end(), has_partial) ||
           (reading.reference && has_partial(*reading.reference));
}

struct Stray {
    double power = 0.0, cents = 0.0;
};

Stray strongest_beside(const MixtureReading& reading, const MixtureSound& sound, double nominal_hz,
                       bool also_near) {
    Stray strongest;
    const double step = 0.5 / sound.seconds;
    const double reach = kFarthest_cents * kCent * nominal_hz;
    const double inner =
        also_near ? 0.0
                  : std::max(kNearest_cents * kCent * nominal_hz, kSkirt_cycles / sound.seconds);
    for (double beside = inner; beside <= reach; beside += step)
        for (const double hz : {nominal_hz - beside, nominal_hz + beside}) {
            const double power = sound.noise.line_power(hz, hz);
            if (power <= strongest.power || is_partial_heard(reading, hz, sound.seconds)) continue;
            strongest = {power, interval(Hertz{nominal_hz}, Hertz{hz}).value()};
        }
    return strongest;
}

}  // namespace

void name_strays(MixtureReading& reading, const MixtureSound& sound,
                 const MixtureRequest& request) {
    double loudest = 0.0, highest_hz = 0.0, lowest_hz = 1e9;
    for (const MixturePipeReading& pipe : reading.pipes) {
        loudest = std::max(loudest, power_heard(pipe));
        highest_hz = std::max(highest_hz, pipe.ratio.value() * request.unison.value());
        lowest_hz = std::min(lowest_hz, pipe.ratio.value() * request.unison.value());
    }
    if (loudest == 0.0) {
        const double about = std::exp2(kFarthest_cents / 1200.0);
        loudest = sound.noise.line_power(lowest_hz / about, highest_hz * about);
    }
    const MixtureReading heard = reading;
    for (MixturePipeReading& pipe : reading.pipes) {
        const double nominal_hz = pipe.ratio.value() * request.unison.value();
        const double aside = kFarthest_cents * kCent * nominal_hz;
        const double noise = 4.0 * sound.noise.variance(nominal_hz - aside, nominal_hz + aside) /
                             (sound.seconds * sound.rate.value());
        const Stray stray =
            strongest_beside(heard, sound, nominal_hz, pipe.untold == Untold::noise);
        if (stray.power < std::max({kLeastStray * loudest, kStrayLouder * power_heard(pipe),
                                    kStrayStandsOut * noise, 1e-30}))
            continue;
        const PureRatio ratio = pipe.ratio;
        pipe = {};
        pipe.ratio = ratio;
        pipe.stray = Cents{stray.cents};
        pipe.untold = std::abs(stray.cents) < kNearest_cents ? Untold::unsteady : Untold::stray;
    }
}

}  // namespace rankwright::listening

#include "listening/pair/third.h"

#include "listening/arithmetic.h"
#include "listening/pair/candidates.h"
#include "listening/pair/fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <optional>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
constexpr double kAway = 2.5;   // turns between them and the third
constexpr double kStep = 0.25;  // turns
/// Of the third's power, against the two, and against what else is left about the meeting: recorded
/// pairs that beat slowly leave −19 dB and less.
constexpr double kStrong = 0.03;
constexpr double kClear = 80.0;
/// At a second meeting it has to stand out by so much, and may stray by so many turns.
constexpr double kThirdSeen = 20.0;
constexpr double kMostOf = 0.5;  // of the strongest there
constexpr double kThirdStrays = 1.5;
constexpr int kStepsAcross = 20;

/// The spectrum of what a fitted place leaves in a band.
class Left {
  public:
    Left(const PairBand& band, const PairFit& fit, std::size_t b, const PairState& state)
        : band_(band), z_(band.z) {
        for (std::size_t i = 0; i < z_.size(); ++i) {
            const double at_s = time(i);
            // Hann's window, mean 1.
            const double window = 1.0 - std::cos(kTurn * (static_cast<double>(i) + 0.5) /
                                                 static_cast<double>(z_.size()));
            z_[i] = window * (z_[i] - fit.tone(b, 0, state, at_s) - fit.tone(b, 1, state, at_s));
        }
    }
    /// Power of a tone this far from the band's centre.
    double power(double hz) const {
        Complex sum = 0.0;
        for (std::size_t i = 0; i < z_.size(); ++i)
            sum += z_[i] * std::polar(1.0, -kTurn * hz * time(i));
        return std::norm(sum) / static_cast<double>(z_.size() * z_.size());
    }

  private:
    double time(std::size_t i) const { return band_.first_s + static_cast<double>(i) / band_.rate; }
    const PairBand& band_;
    std::vector<Complex> z_;
};

struct Peak {
    double hz = 0.0;  // from the reference's nominal partial
    double power = 0.0, median = 0.0;
};

/// The strongest tone from `low` to `high` about the reference's nominal partial, beside those at
/// `taken` ± `away`.
Peak strongest(const Left& left, double centre_off, double low, double high, double step,
               std::span<const double> taken, double away) {
    Peak peak;
    std::vector<double> all;
    for (double hz = low; hz <= high; hz += step) {
        const double power = left.power(hz - centre_off);
        all.push_back(power);
        const bool free = std::all_of(taken.begin(), taken.end(),
                                      [&](double t) { return std::abs(hz - t) > away; });
        if (free && power > peak.power) peak = {hz, power, 0.0};
    }
    if (all.empty()) return peak;
    const auto middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
    std::nth_element(all.begin(), middle, all.end());
    peak.median = *middle;
    return peak;
}

}  // namespace

std::vector<PairCandidate> third_tone(std::span<const PairBand> bands, const PairRequest& request,
                                      const PairPlace& place, double span_s) {
    const double m = request.reference_partial, n = request.pipe_partial;
    const double f = request.reference.value();
    if (std::abs(place.beat(request)) * span_s > kSlowTurns) return {};
    PairModel model = model_of(request, span_s);
    model.wander_terms = static_cast<std::size_t>(std::clamp(4.0 * span_s, 3.0, 14.0));
    model.gain_terms = static_cast<std::size_t>(std::clamp(2.0 * span_s, 2.0, 6.0));
    PairFit fit(bands, model);
    PairState state = start_at(fit, model, place);
    fit.refine(state, kStepsAcross);

    std::optional<double> third;  // from the first meeting
    bool again = false;
    for (const int j : {1, 2, 3, 4})
        for (std::size_t b = 0; b < bands.size(); ++b) {
            const PairLine& line = bands[b].line;
            if (line.reference_partial != j * request.reference_partial ||
                line.pipe_partial != j * request.pipe_partial)
                continue;
            const Left left(bands[b], fit, b, state);
            const double nominal = line.reference_partial * f;
            const double centre = line.centre_hz - nominal;
            const std::array<double, 2> taken{j * m * state.unknowns[0],
                                              j * n * state.unknowns[state.unknowns.size() / 2]};
            const double reach = line.half_width_hz;
            const double step = kStep / span_s;
            if (j == 1) {
                const Peak peak =
                    strongest(left, centre, -reach, reach, step, taken, kAway / span_s);
                const double two = state.bands[b].level[0] + state.bands[b].level[1];
                if (peak.power < kStrong * two || peak.power < kClear * peak.median) return {};
                third = peak.hz;
            } else if (third) {
                const Peak all = strongest(left, centre, -reach, reach, step, taken, 0.0);
                const double strays = j * kThirdStrays / span_s;
                const Peak here = strongest(left, centre, j * *third - strays, j * *third + strays,
                                            step, taken, kAway / span_s);
                again = again ||
                        (here.power > kThirdSeen * all.median && here.power > kMostOf * all.power);
            }
        }
    if (!third || !again) return {};
    const double louder =
        place.power[0] > place.power[1] ? place.found_hz[0] - f : (place.found_hz[1] * n / m - f);
    std::vector<PairCandidate> candidates;
    for (const double reference : {louder, 0.0})
        candidates.push_back({reference, *third / n, 0.0});
    if (request.reference_partial == request.pipe_partial && !far_fetched(*third / m, request))
        candidates.push_back({*third / m, m * louder / n, 0.0});
    return candidates;
}

}  // namespace rankwright::listening

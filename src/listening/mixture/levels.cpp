// What a key's fit learns of levels, unrest and noise.
#include "listening/linear_rows.h"
#include "listening/mixture/fit.h"
#include "listening/mixture/prior.h"
#include "listening/sample_sums.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

using namespace mixture_prior;

namespace {
constexpr double kUnrestWeight = 1.0;  // what is expected of it counts as so many terms
constexpr double kLeastUnrest = 1e-6;
}  // namespace

// Levels, unrest and noise of a band, given the amplitudes' posterior.
void MixtureFit::relevel(std::size_t b, MixtureState& state) {
    Work& w = work_[b];
    const MixtureBand& band = bands_[b];
    MixtureState::Band& s = state.bands[b];
    const std::size_t n = band.size(), g = gains(), q = w.active.size() * g;
    if (w.cost >= kBrokenCost) return;
    inverse_diagonal(w.factor.data(), q, w.posterior);
    std::vector<double> re = band.re, im = band.im;
    double informed = 0.0;
    for (std::size_t a = 0; a < w.active.size(); ++a) {
        lay_fitted(b, a);
        add_scaled(-1.0, fitted_.re.data(), re.data(), n);
        add_scaled(-1.0, fitted_.im.data(), im.data(), n);
        MixtureState::Tone& tone = s.tones[w.active[a]];
        const MixtureTone& which = band.tones[w.active[a]];
        for (std::size_t j = 0; j < g; ++j)
            informed += 1.0 - std::min(1.0, w.posterior[a * g + j] / variance(tone, j));
        // What the data alone say of the amplitude: y with variance v.
        const double share = std::clamp(1.0 - w.posterior[a * g] / tone.power, 1e-9, 1.0 - 1e-12);
        const double v = w.posterior[a * g] / share;
        const double y2 = std::norm(w.amplitude[a * g]) / (share * share);
        tone.found = std::norm(w.amplitude[a * g]);
        const double expected = state.level[which.pipe] - kTimbreFall * std::log(which.partial);
        double best = 1e300, at = std::log(tone.power);
        const double low = std::min(std::log(v) - 6.0, expected - 3.0),
                     high = std::log(y2 + v) + 3.0;
        for (double l = low; l < high; l += 0.35) {
            const double p = std::exp(l) + v;
            const double c = model_.temper * (std::log(p) + y2 / p) + level_cost(l - expected);
            if (c < best) best = c, at = l;
        }
        double sum = 0.0;
        for (std::size_t j = 1; j < g; ++j)
            sum += (std::norm(w.amplitude[a * g + j]) + w.posterior[a * g + j]) / unrest_share_[j];
        const double scale = std::max(tone.found, std::exp(at));
        tone.unrest = std::clamp((sum / scale + kUnrestWeight * kUnrest) /
                                     (static_cast<double>(g - 1) + kUnrestWeight),
                                 kLeastUnrest, model_.most_unrest) *
                      scale / std::exp(at);
        tone.power = std::exp(at);
    }
    const double left = sum2(re.data(), re.data(), n) + sum2(im.data(), im.data(), n);
    constexpr double kNoiseWeight = 6.0;  // samples' worth of the floor found between the lines
    s.noise = (left + s.noise * informed + kNoiseWeight * band.floor) /
              (static_cast<double>(n) + kNoiseWeight);
    s.noise = std::max(s.noise, 0.3 * band.floor + 1e-18);
}

// Each pipe's own level and wander.
void MixtureFit::repipe(MixtureState& state) {
    std::vector<double> sum(model_.pipes.size(), 0.0), weight(model_.pipes.size(), 0.0);
    std::vector<double> most(model_.pipes.size(), 0.0);
    for (std::size_t b = 0; b < bands_.size(); ++b)
        for (std::size_t a = 0; used_[b] && a < bands_[b].tones.size(); ++a) {
            const MixtureTone& tone = bands_[b].tones[a];
            if (!state.present[tone.pipe]) continue;
            const double l =
                std::log(state.bands[b].tones[a].power) + kTimbreFall * std::log(tone.partial);
            const double x = (l - state.level[tone.pipe]) / kLevelSpread;
            const double u = 1.0 / (1.0 + x * x / 3.0);
            sum[tone.pipe] += u * l;
            weight[tone.pipe] += u;
            most[tone.pipe] = std::max(most[tone.pipe], state.bands[b].tones[a].found);
        }
    for (std::size_t j = 0; j < model_.pipes.size(); ++j)
        if (weight[j] > 0.0) {
            state.level[j] = sum[j] / weight[j];
            state.loud[j] = std::log(most[j] + 1e-30);
        }
}

MixtureHeard MixtureFit::heard(const MixtureState& state, std::size_t pipe) const {
    constexpr double kStrong = 1e-4;
    MixtureHeard heard;
    for (const std::size_t b : bands_of_[pipe])
        for (std::size_t a = 0; a < bands_[b].tones.size(); ++a) {
            const MixtureTone& tone = bands_[b].tones[a];
            const double found = state.bands[b].tones[a].found;
            if (tone.pipe != pipe) continue;
            heard.power += found;
            if (found > kStrong * std::exp(state.loud[pipe]))
                heard.highest_strong = std::max(heard.highest_strong, tone.partial);
        }
    return heard;
}

void MixtureFit::settle(MixtureState& state, int rounds) {
    for (int r = 0; r < rounds; ++r) {
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!used_[b]) continue;
            evaluate(b, state);
            relevel(b, state);
        }
        repipe(state);
    }
    state.cost = cost(state);
}

}  // namespace rankwright::listening

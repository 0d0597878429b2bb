// What a key's fit leaves of a band, and one more tone in it.
#include "listening/arithmetic.h"
#include "listening/linear_solve.h"
#include "listening/mixture/fit.h"
#include "listening/mixture/prior.h"
#include "listening/sample_sums.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <type_traits>

#include <kissfft/kiss_fft.h>

namespace rankwright::listening {

namespace {

/// Beforehand, of a soft line of a harmonic pipe from the power of its loudest partial.
constexpr double kBetween = 1e-5;
constexpr double kHighestBetween = 4.0;  // partials; higher lines aren't heard

}  // namespace

void MixtureFit::hear_remainder(std::size_t b, const MixtureState& state) {
    Work& w = work_[b];
    residual(b, state, w.rest_re, w.rest_im);
    w.stiffness.clear();
    for (std::size_t a = 0; a < w.active.size() && w.cost < kBrokenCost; ++a)
        for (std::size_t j = 0; j < gains(); ++j)
            w.stiffness.push_back(1.0 / variance(state.bands[b].tones[w.active[a]], j));
    lay_between(b, state);
    if (model_.places_known) lay_rest_power(b);
}

// Soft lines stand halfway between the partials of harmonic pipes, which are twice as long as they
// sound: exactly there, so that a pipe a little beside shows.
void MixtureFit::lay_between(std::size_t b, const MixtureState& state) {
    const MixtureBand& band = bands_[b];
    Work& w = work_[b];
    w.between.clear();
    for (std::size_t j = 0; j < state.present.size(); ++j)
        for (double at = 0.5; state.present[j] && at < kHighestBetween; at += 1.0) {
            const double hz = at * model_.pipes[j].nominal_hz;
            if (std::abs(hz - band.centre_hz) > 0.5 * band.rate) continue;
            LoneTone line;
            line.resize(band.size());
            lay_path(b, hz, &state.unknowns[j * terms()], line.re.data(), line.im.data());
            weigh(b, line);
            line.stiffness = 1.0 / (kBetween * std::exp(state.loud[j]));
            line.pivot = std::sqrt(line.information + line.stiffness);
            w.between.push_back(std::move(line));
        }
}

// What the band's remainder and the other tones say of it.
void MixtureFit::weigh(std::size_t b, LoneTone& tone) {
    const MixtureBand& band = bands_[b];
    const MixtureTable& t = tables_[b];
    const Work& w = work_[b];
    const std::size_t n = band.size(), g = gains(), q = w.stiffness.size();
    product_.resize(n);
    const auto sums = [&](const double* re, const double* im, const double* with_re,
                          const double* with_im, std::size_t rows, Complex* to) {
        conjugate_product(re, im, with_re, with_im, product_.re.data(), product_.im.data(), n);
        weighted_sums(t.gain(0).data(), rows, product_.re.data(), product_.im.data(), n, to);
        std::for_each(to, to + rows, [&](Complex& x) { x /= w.noise; });
    };
    sums(tone.re.data(), tone.im.data(), w.rest_re.data(), w.rest_im.data(), 1, &tone.met);
    tone.information = static_cast<double>(n) / w.noise;
    tone.shadow.resize(q);
    for (std::size_t a = 0; a * g < q; ++a)
        sums(&w.re[a * n], &w.im[a * n], tone.re.data(), tone.im.data(), g, &tone.shadow[a * g]);
    solve_lower<Complex>(w.factor, q, tone.shadow.data());
    for (const LoneTone& line : w.between) {
        Complex both;
        sums(line.re.data(), line.im.data(), tone.re.data(), tone.im.data(), 1, &both);
        for (std::size_t i = 0; i < line.shadow.size(); ++i)
            both -= std::conj(line.shadow[i]) * tone.shadow[i];
        tone.shadow.push_back(both / line.pivot);
        tone.met -= std::conj(tone.shadow.back()) * line.met / line.pivot;
    }
    for (const Complex& x : tone.shadow)
        tone.information -= std::norm(x);
    tone.information = std::max(tone.information, 1e-9 / w.noise);
}

// The variance by the noise, if that is another than the band's, of the tone's phasor as weighed
// (C⁻¹x/xᴴC⁻¹x, where the fitted tones, too, are Gaussian: C = noise·I + A·P·Aᴴ). What is for the
// tones to explain stays as it is.
double MixtureFit::variance_in(std::size_t b, const LoneTone& tone, double noise) const {
    const Work& w = work_[b];
    std::vector<Complex> x = tone.shadow;
    double held = 0.0;
    for (const Complex& y : x)
        held += std::norm(y);
    for (std::size_t i = w.between.size(); i-- > 0;) {
        const LoneTone& line = w.between[i];
        const std::size_t at = w.stiffness.size() + i;
        x[at] /= line.pivot;
        for (std::size_t k = 0; k < at; ++k)
            x[k] -= line.shadow[k] * x[at];
        held += line.stiffness * std::norm(x[at]);
    }
    solve_upper<Complex>(w.factor, w.stiffness.size(), x.data());
    for (std::size_t k = 0; k < w.stiffness.size(); ++k)
        held += w.stiffness[k] * std::norm(x[k]);
    const double own = static_cast<double>(bands_[b].size()) / w.noise - held;
    return 1.0 / tone.information +
           (noise / w.noise - 1.0) * std::max(own, 0.0) / (tone.information * tone.information);
}

// Faded at either end, so that a line's power stays where it stands.
void MixtureFit::lay_rest_power(std::size_t b) {
    constexpr double kFadedPower = 1.5;  // mean square of the factor, whose mean is 1 (Hann)
    Work& w = work_[b];
    const std::size_t n = w.rest_re.size();
    const double length = static_cast<double>(n);
    std::vector<kiss_fft_cpx> faded(n), spectrum(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double share = 1.0 - std::cos(kTurn * (static_cast<double>(i) + 0.5) / length);
        Complex rest{w.rest_re[i], w.rest_im[i]};
        for (const LoneTone& line : w.between)
            rest -= line.met / (line.pivot * line.pivot) * Complex{line.re[i], line.im[i]};
        faded[i] = {static_cast<float>(share * rest.real()),
                    static_cast<float>(share * rest.imag())};
    }
    const std::unique_ptr<std::remove_pointer_t<kiss_fft_cfg>, void (*)(void*)> plan(
        kiss_fft_alloc(static_cast<int>(n), 0, nullptr, nullptr),
        [](void* p) { kiss_fft_free(p); });
    kiss_fft(plan.get(), faded.data(), spectrum.data());
    w.rest_power.resize(n);
    for (std::size_t k = 0; k < n; ++k) {
        const double x = spectrum[k].r, y = spectrum[k].i;
        w.rest_power[k] = (x * x + y * y) / (kFadedPower * length);
    }
}

// Of a tone that isn't fitted: where all places are known, by what is left on either side of where
// it would stand, since noise and what tones leave differ by tens of dB within a band.
double MixtureFit::noise_beside(std::size_t b, double hz) const {
    // Beyond the tone's own faded line, and as far as makes a dozen figures.
    constexpr double kOwn_cycles = 2.5, kMore_cycles = 6.0;
    // The scale of Student's power in two degrees of freedom with the median of an exponential one.
    constexpr double kScale = 0.837;
    const Work& w = work_[b];
    if (w.rest_power.empty()) return w.noise;
    const MixtureBand& band = bands_[b];
    const auto n = static_cast<long>(band.size());
    const double at = (hz - band.centre_hz) * static_cast<double>(n) / band.rate;
    constexpr double kFarthest_cycles = kOwn_cycles + kMore_cycles;
    double sum = 0.0, count = 0.0;
    for (long k = std::lround(at - kFarthest_cycles); k <= std::lround(at + kFarthest_cycles);
         ++k) {
        const double apart = std::abs(static_cast<double>(k) - at);
        if (apart < kOwn_cycles || apart > kFarthest_cycles) continue;
        sum += w.rest_power[static_cast<std::size_t>((k % n + n) % n)];
        count += 1.0;
    }
    return std::max(kScale * sum / count, 1e-4 * w.noise);
}

MixtureExtraTone MixtureFit::extra_tone(std::size_t b, double hz) {
    const MixtureBand& band = bands_[b];
    const std::size_t n = band.size();
    lone_.resize(n);
    turns_.assign(n, 0.0);
    add_scaled(hz - band.centre_hz, tables_[b].path(0).data(), turns_.data(), n);
    lay_circle(turns_.data(), lone_.re.data(), lone_.im.data(), n);
    weigh(b, lone_);
    return {std::norm(lone_.met / lone_.information), variance_in(b, lone_, noise_beside(b, hz))};
}

}  // namespace rankwright::listening

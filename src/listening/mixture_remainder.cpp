// What a key's fit leaves of a band, and one more tone in it.
#include "listening/arithmetic.h"
#include "listening/linear_solve.h"
#include "listening/mixture_fit.h"
#include "listening/mixture_prior.h"
#include "listening/sample_sums.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <type_traits>

#include <kissfft/kiss_fft.h>

namespace rankwright::listening {

void MixtureFit::hear_remainder(std::size_t b, const MixtureState& state) {
    residual(b, state, work_[b].rest_re, work_[b].rest_im);
    if (model_.places_known) lay_rest_power(b);
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
        faded[i] = {static_cast<float>(share * w.rest_re[i]),
                    static_cast<float>(share * w.rest_im[i])};
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

// Without what is heard where the tone would be: alone in its band it would be weighed against
// itself. Beside a fitted tone it may be that one's unrest, and counts.
double MixtureFit::noise_beside(std::size_t b, double hz) const {
    constexpr double kWidth_cycles = 3.0;  // of a faded line, its gains included, on either side
    constexpr double kApart = 2.0;         // from the fitted tones, in widths
    // At most: a line may be something else's, however clear. From synthetic and recorded keys; ten
    // hears a few more that sound, and leaves a few more silent ones undecided.
    constexpr double kClearer = 4.0;
    const Work& w = work_[b];
    if (!model_.places_known) return w.noise;
    const MixtureBand& band = bands_[b];
    const double width =
        kWidth_cycles / model_.span_s + 2.0 * mixture_prior::kWander_cents * kCent * hz;
    for (std::size_t a = 0; a < w.active.size(); ++a) {
        const MixtureTone& tone = band.tones[w.active[a]];
        const double pitch =
            model_.pipes[tone.pipe].nominal_hz * (1.0 + kCent * w.laid[a * terms()]);
        if (std::abs(tone.partial * pitch - hz) < kApart * width) return w.noise;
    }
    const auto n = static_cast<long>(band.size());
    const double length = static_cast<double>(n), cycle = band.rate / length;
    const long at = std::lround((hz - band.centre_hz) / cycle);
    const long near = std::lround(std::ceil(width / cycle));
    if (2 * near >= n / 2) return w.noise;
    double own = 0.0;
    for (long k = at - near; k <= at + near; ++k)
        own += w.rest_power[static_cast<std::size_t>((k % n + n) % n)];
    const double others = (length * w.noise - own) / (length - static_cast<double>(2 * near + 1));
    return std::clamp(others, w.noise / kClearer, w.noise);
}

MixtureExtraTone MixtureFit::extra_tone(std::size_t b, double hz) {
    const MixtureBand& band = bands_[b];
    const MixtureTable& t = tables_[b];
    const Work& w = work_[b];
    const std::size_t n = band.size(), g = gains(), k = w.active.size(), q = k * g;
    turns_.assign(n, 0.0);
    add_scaled(hz - band.centre_hz, t.path(0).data(), turns_.data(), n);
    fitted_.resize(n);
    product_.resize(n);
    lay_circle(turns_.data(), fitted_.re.data(), fitted_.im.data(), n);
    conjugate_product(fitted_.re.data(), fitted_.im.data(), w.rest_re.data(), w.rest_im.data(),
                      product_.re.data(), product_.im.data(), n);
    Complex met;
    weighted_sums(t.gain(0).data(), 1, product_.re.data(), product_.im.data(), n, &met);
    double information = static_cast<double>(n) / w.noise;
    if (q > 0 && w.cost < kBrokenCost) {
        std::vector<Complex>& shadow = shadow_;
        shadow.resize(q);
        for (std::size_t a = 0; a < k; ++a) {
            conjugate_product(&w.re[a * n], &w.im[a * n], fitted_.re.data(), fitted_.im.data(),
                              product_.re.data(), product_.im.data(), n);
            weighted_sums(t.gain(0).data(), g, product_.re.data(), product_.im.data(), n,
                          &shadow[a * g]);
        }
        for (Complex& x : shadow)
            x /= w.noise;
        solve_lower<Complex>(w.factor, q, shadow.data());
        for (const Complex& x : shadow)
            information -= std::norm(x);
    }
    information = std::max(information, 1e-9 / w.noise);
    return {std::norm(met / w.noise / information), noise_beside(b, hz) / w.noise / information};
}

}  // namespace rankwright::listening

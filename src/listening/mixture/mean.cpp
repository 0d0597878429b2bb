// The mean pitch of a key's pipe over the span, as its partials tell it.
#include "listening/arithmetic.h"
#include "listening/mixture/fit.h"
#include "listening/mixture/prior.h"
#include "listening/sample_sums.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

using namespace mixture_prior;

namespace {

// What partials of one pipe usually differ by in a room, and how many partials' worth that is known
// beforehand. A pitch that drifts through a room's resonances takes its partials' phases apart.
constexpr double kUsualScatter_cents = 0.01;
constexpr double kScatterWeight = 1.0;
// How much of two variances counts, from the development keys by likelihood (tails as of Student's
// density in five degrees of freedom): of the partials' scatter less than all, since mostly all are
// heard and their mean is the pitch itself; of each slope's own by noise and by the others' unrest
// more, since the unrest of partials that stand together isn't independent.
constexpr double kScatterCounts = 0.6, kSlopesCount = 4.0;

// Between-partials variance by the method of moments (DerSimonian and Laird, Controlled Clinical
// Trials 7, 1986), twice: the second time with the variance of the first in the weights.
double scatter_of(const std::vector<MixturePartial>& slopes) {
    constexpr double kUsual = kUsualScatter_cents * kUsualScatter_cents;
    double between = kUsual;
    for (int round = 0; round < 2; ++round) {
        double sum = 0.0, squares = 0.0, mean = 0.0;
        for (const MixturePartial& s : slopes) {
            const double u = 1.0 / (s.variance + between);
            sum += u;
            squares += u * u;
            mean += u * s.cents;
        }
        mean /= sum;
        double apart = 0.0, by_noise = 0.0;
        for (const MixturePartial& s : slopes) {
            const double u = 1.0 / (s.variance + between);
            apart += u * (s.cents - mean) * (s.cents - mean);
            by_noise += u * s.variance * (1.0 - u / sum);
        }
        const double freedom = sum - squares / sum;
        const double effective = sum * sum / squares - 1.0;
        const double found =
            freedom > 1e-9 * sum ? std::max(0.0, (apart - by_noise) / freedom) : 0.0;
        between = (effective * found + kScatterWeight * kUsual) / (effective + kScatterWeight);
    }
    return between;
}

// Each partial weighs by its information as if the pipe were alone, which is what its mean pitch
// means, and less where the others leave it in greater doubt than the partials differ anyway.
MixtureMean combine(const std::vector<MixturePartial>& slopes) {
    if (slopes.empty()) return {};
    const double between = scatter_of(slopes);
    double sum = 0.0, variance = 0.0;
    MixtureMean mean;
    for (const MixturePartial& s : slopes) {
        const double w = s.information * between / (between + s.variance);
        sum += w;
        variance += w * w * (kScatterCounts * between + kSlopesCount * s.variance);
        mean.cents += w * s.cents;
    }
    mean.cents /= sum;
    mean.variance = variance / (sum * sum);
    return mean;
}

}  // namespace

std::vector<MixturePartial> MixtureFit::partials(const MixtureState& state, std::size_t pipe) {
    std::vector<MixturePartial> partials;
    std::vector<double> re, im;
    for (const std::size_t b : bands_of_[pipe]) {
        if (!used_[b]) continue;
        residual(b, state, re, im);
        const MixtureBand& band = bands_[b];
        const Work& w = work_[b];
        if (w.cost >= kBrokenCost) continue;
        for (std::size_t a = 0; a < w.active.size(); ++a) {
            const MixtureTone& tone = band.tones[w.active[a]];
            if (tone.pipe != pipe || !tone.tells()) continue;
            const double found = state.bands[b].tones[w.active[a]].found;
            const double slope = own_slope(b, a, re, im);
            const double cent_turns = kCent * tone.partial * model_.pipes[pipe].nominal_hz;
            const double floor = band.floor / static_cast<double>(band.size());
            const double span = kTurn * cent_turns * model_.span_s;
            const double information = found * span * span / 6.0;
            partials.push_back({tone.partial, found, slope / (kTurn * cent_turns),
                                (floor + stray(b, a, state)) / information, information});
        }
    }
    return partials;
}

double MixtureFit::power_at(const MixtureState& state, double hz, double apart_hz) {
    double power = 0.0;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        const MixtureBand& band = bands_[b];
        if (!used_[b] || std::abs(hz - band.centre_hz) > band.half_width_hz) continue;
        const Work& w = work_[b];
        std::vector<double> re(band.size(), 0.0), im(band.size(), 0.0);
        for (std::size_t a = 0; a < w.active.size(); ++a) {
            const MixtureTone& tone = band.tones[w.active[a]];
            const double there = tone.partial * model_.pipes[tone.pipe].nominal_hz *
                                 (1.0 + kCent * state.unknowns[tone.pipe * terms()]);
            if (std::abs(there - hz) > apart_hz) continue;
            lay_fitted(b, a);
            add_scaled(1.0, fitted_.re.data(), re.data(), band.size());
            add_scaled(1.0, fitted_.im.data(), im.data(), band.size());
        }
        power +=
            (sum2(re.data(), re.data(), band.size()) + sum2(im.data(), im.data(), band.size())) /
            static_cast<double>(band.size());
    }
    return power;
}

bool MixtureFit::stands_out(const MixtureState& state, std::size_t pipe) const {
    constexpr double kClear = 10.0;  // power over that of noise in the whole span
    for (const std::size_t b : bands_of_[pipe]) {
        if (!used_[b]) continue;
        const double noise = kClear * state.bands[b].noise / static_cast<double>(bands_[b].size());
        for (std::size_t a = 0; a < work_[b].active.size(); ++a) {
            const std::size_t tone = work_[b].active[a];
            if (bands_[b].tones[tone].pipe == pipe &&
                state.bands[b].tones[tone].found > noise + stray(b, a, state))
                return true;
        }
    }
    return false;
}

MixtureMean MixtureFit::mean(const MixtureState& state, std::size_t pipe) {
    const double path = mean_path(state, pipe);
    const MixtureMean beside = combine(partials(state, pipe));
    return {std::log1p(kCent * (path + beside.cents)) / kCent, beside.variance};
}

double MixtureFit::mean_path(const MixtureState& state, std::size_t pipe) const {
    double path = 0.0;
    for (std::size_t m = 0; m < terms(); ++m)
        path += slope_share(m) * state.unknowns[pipe * terms() + m];
    return path;
}

// Radians a second beside the common path of the a-th active tone of a band: the best steady turn
// of what that tone and the residual (`re`, `im`) make together.
double MixtureFit::own_slope(std::size_t b, std::size_t a, const std::vector<double>& re,
                             const std::vector<double>& im) {
    const MixtureBand& band = bands_[b];
    const Work& w = work_[b];
    const std::size_t n = band.size();
    lay_fitted(b, a);
    std::vector<Complex> own(n);
    const std::span<const double> time = tables_[b].path(0);
    double middle = 0.0, square = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        own[i] = Complex{fitted_.re[i] + re[i], fitted_.im[i] + im[i]} *
                 Complex{w.re[a * n + i], -w.im[a * n + i]};
        middle += time[i] / static_cast<double>(n);
    }
    for (std::size_t i = 0; i < n; ++i)
        square += (time[i] - middle) * (time[i] - middle);
    double slope = 0.0;
    for (int step = 0; step < 4; ++step) {
        Complex sum = 0.0, moment = 0.0;
        for (std::size_t i = 0; i < n; ++i) {
            const double at = time[i] - middle;
            const Complex still = own[i] * std::polar(1.0, -slope * at);
            sum += still;
            moment += at * still;
        }
        const double power = std::norm(sum) / static_cast<double>(n);
        if (!(power > 0.0)) break;
        slope += std::clamp((std::conj(sum) * moment).imag() / (power * square),
                            -1.0 / model_.span_s, 1.0 / model_.span_s);
    }
    return slope;
}

// Power that other tones of the band may put where the a-th active one is: their unrest.
double MixtureFit::stray(std::size_t b, std::size_t a, const MixtureState& state) const {
    const MixtureBand& band = bands_[b];
    const auto hz = [&](const MixtureTone& tone) {
        return tone.partial * model_.pipes[tone.pipe].nominal_hz *
               (1.0 + kCent * state.unknowns[tone.pipe * terms()]);
    };
    const std::vector<std::size_t>& active = work_[b].active;
    double power = 0.0;
    for (const std::size_t other : active)
        if (other != active[a])
            power += state.bands[b].tones[other].found *
                     pedestal((hz(band.tones[active[a]]) - hz(band.tones[other])) * model_.span_s);
    return power;
}

}  // namespace rankwright::listening

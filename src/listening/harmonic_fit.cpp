#include "listening/harmonic_fit.h"

#include "listening/fit_uncertainty.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <vector>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
constexpr double kTwoPi = 2.0 * std::numbers::pi;
/// Tables of leaks hold for an ω this near, relatively: a thousandth of a cent.
constexpr double kTableReach = 6e-7;
/// Higher partials are weak in most pipes, and a whistle in one's band could lead astray.
constexpr int kApproachPartials = 8;
/// The mean given is the least-squares slope of the phase; other means (of the pitch itself, or by
/// other weights over the span) differ when the pipe wanders. This share of the difference between
/// the farthest two counts as uncertainty.
constexpr double kMeanAmbiguity = 0.25;

/// Σ_{n<N} e^{jxn} about the middle frame (Dirichlet's kernel): real.
double kernel(double x, double frames) {
    const double half = 0.5 * std::remainder(x, kTwoPi);
    if (std::abs(half) * frames < 1e-4) return frames;
    return std::sin(frames * half) / std::sin(half);
}

double square(double x) { return x * x; }

}  // namespace

struct HarmonicFitter::State {
    State(int most_partials, std::size_t most_blocks)
        : partials(std::clamp(most_partials, 1, static_cast<int>(kMostPartials))),
          blocks(most_blocks) {
        const auto rows = static_cast<std::size_t>(partials) + 1;
        series.resize(rows * blocks);
        residual.resize(blocks);
        leak.resize(rows * (2 * rows - 1));
        comb.resize(3 * rows);
        comb_slope.resize(3 * rows);
        mean.resize(rows);
        slope.resize(rows);
        phasor.resize(rows);
        noise.resize(rows);
        common.resize(blocks);
        slopes.resize(rows);
        logs.resize(rows);
        trend.resize(rows);
    }

    bool load(const PartialBank& bank, std::size_t first, std::size_t count);
    void approach();
    void derotate(double by);
    void demodulated_sums();
    void tabulate_leaks();
    void solve_phasors();
    double offset(int k) const;
    double step() const;
    double common_phase(int highest);
    void follow(int highest);
    double improve(int follow_to, bool noise_too);
    void leave_absent();
    double clarity() const;
    double explained() const;
    void converge(const PartialBank& bank, std::size_t first);
    void estimate_noise();
    void steady_noise();
    void remove_leaks(int k);
    double presence(int k) const;
    double information(int k) const;

    std::size_t leak_index(int k, int m) const {
        return static_cast<std::size_t>(k * (2 * partials + 1) + m + partials);
    }
    double& leak_at(int k, int m) { return leak[leak_index(k, m)]; }
    double leak_at(int k, int m) const { return leak[leak_index(k, m)]; }
    Complex comb_at(int d) const { return comb[static_cast<std::size_t>(d + 2 * partials)]; }
    Complex comb_slope_at(int d) const {
        return comb_slope[static_cast<std::size_t>(d + 2 * partials)];
    }
    Complex* row(int k) { return &series[static_cast<std::size_t>(k) * blocks]; }
    const Complex* row(int k) const { return &series[static_cast<std::size_t>(k) * blocks]; }
    Complex signed_phasor(int m) const {
        const Complex c = phasor[static_cast<std::size_t>(std::abs(m))];
        return m < 0 ? std::conj(c) : c;
    }

    // Room.
    int partials;
    std::size_t blocks;
    // The present span. Angles in radians a frame, times in frames from the middle of the span.
    int count = 0;                    // partials
    std::size_t span = 0;             // blocks
    double block = 0.0;               // frames of a block
    double tuned = 0.0;               // the bank's ω
    double omega = 0.0;               // the fit's ω
    double tabulated = 0.0;           // the ω that the tables of leaks hold for
    double time_square = 0.0;         // Σ τ² over blocks
    std::vector<Complex> series;      // [k][block], turned back by the fit's ω
    std::vector<Complex> residual;    // of one partial
    std::vector<double> leak;         // [k][m]: what partial m puts into a block sum of k
    std::vector<Complex> comb;        // [m − k]: mean of e^{j(m−k)ωτ} over the blocks
    std::vector<Complex> comb_slope;  // the same times τ, summed
    std::vector<Complex> mean;        // of each partial's series
    std::vector<Complex> slope;       // Σ τ · series
    std::vector<Complex> phasor;
    std::vector<double> noise;
    std::vector<double> common;  // residual phase of the fundamental, from all partials
    std::vector<PartialSlope> slopes;
    std::size_t present = 0;          // of them
    PhaseModes movement;              // followed so far
    std::vector<double> logs, trend;  // of the noise, while it is steadied
};

HarmonicFitter::HarmonicFitter(int most_partials, std::size_t most_blocks)
    : state_(std::make_unique<State>(most_partials, most_blocks)) {}
HarmonicFitter::~HarmonicFitter() = default;
HarmonicFitter::HarmonicFitter(HarmonicFitter&&) noexcept = default;
HarmonicFitter& HarmonicFitter::operator=(HarmonicFitter&&) noexcept = default;

bool HarmonicFitter::State::load(const PartialBank& bank, std::size_t first, std::size_t n) {
    count = std::min(bank.partials(), partials);
    span = std::min(n, blocks);
    block = static_cast<double>(bank.block_frames());
    tuned = omega = kTwoPi * bank.pitch().value() / bank.rate().value();
    const double middle_block = 0.5 * (static_cast<double>(span) - 1.0);
    time_square = 0.0;
    for (std::size_t b = 0; b < span; ++b)
        time_square += square(block * (static_cast<double>(b) - middle_block));
    // The bank's phases count from frame 0 of the stream; ours from the middle of the span.
    const double middle = static_cast<double>(bank.block_first(first).value) +
                          0.5 * (block * static_cast<double>(span) - 1.0);
    const double cycles = middle * (bank.pitch().value() / bank.rate().value());
    const double turn = cycles - std::floor(cycles);
    // Five modes a second follow what wind does to a pipe.
    constexpr double kModesPerSecond = 5.0;
    const double seconds = block * static_cast<double>(span) / bank.rate().value();
    movement = {};
    tabulated = 0.0;
    movement.count = std::clamp(static_cast<int>(kModesPerSecond * seconds), 7, PhaseModes::kMost);
    double power = 0.0;
    for (int k = 0; k <= count; ++k) {
        const Complex rebase = std::polar(1.0, kTwoPi * turn * k);
        const auto from = bank.series(k).subspan(first, span);
        Complex* to = row(k);
        for (std::size_t b = 0; b < span; ++b) {
            to[b] = rebase * Complex(from[b]);
            if (k > 0) power += std::norm(to[b]);
        }
        phasor[static_cast<std::size_t>(k)] = 0.0;
    }
    return power > 0.0;
}

/// Turns every partial's series back by k·`by` radians a frame.
void HarmonicFitter::State::derotate(double by) {
    const double middle_block = 0.5 * (static_cast<double>(span) - 1.0);
    for (int k = 1; k <= count; ++k) {
        const Complex turn = std::polar(1.0, -k * by * block);
        Complex phase = std::polar(1.0, k * by * block * middle_block);
        Complex* z = row(k);
        for (std::size_t b = 0; b < span; ++b, phase *= turn)
            z[b] *= phase;
    }
    omega += by;
}

/// Comes near enough for the linear steps: the phase gained over 1, 2, 4 … blocks, each partial
/// weighted by how alike its blocks are.
void HarmonicFitter::State::approach() {
    for (std::size_t lag = 1; 2 * lag <= span; lag *= 2) {
        double gained = 0.0;
        double weights = 0.0;
        for (int k = 1; k <= std::min(count, kApproachPartials); ++k) {
            const Complex* z = row(k);
            Complex product{};
            double power = 0.0;
            for (std::size_t b = 0; b + lag < span; ++b) {
                product += z[b + lag] * std::conj(z[b]);
                power += 0.5 * (std::norm(z[b + lag]) + std::norm(z[b]));
            }
            if (power <= 0.0) continue;
            const double alike = std::min(std::norm(product) / square(power), 0.999999);
            const double weight = alike / (1.0 - alike);
            gained += weight * k * std::arg(product);
            weights += weight * k * k;
        }
        if (weights <= 0.0) return;
        derotate(gained / (weights * static_cast<double>(lag) * block));
    }
}

void HarmonicFitter::State::demodulated_sums() {
    const double middle_block = 0.5 * (static_cast<double>(span) - 1.0);
    for (int k = 0; k <= count; ++k) {
        const Complex* z = row(k);
        Complex sum{};
        Complex first_moment{};
        for (std::size_t b = 0; b < span; ++b) {
            sum += z[b];
            first_moment += (static_cast<double>(b) - middle_block) * z[b];
        }
        mean[static_cast<std::size_t>(k)] = sum / static_cast<double>(span);
        slope[static_cast<std::size_t>(k)] = block * first_moment;
    }
}

/// What each partial (m < 0: its mirror image) puts into the block sums of each other.
void HarmonicFitter::State::tabulate_leaks() {
    tabulated = omega;
    for (int k = 0; k <= count; ++k)
        for (int m = -count; m <= count; ++m)
            leak_at(k, m) = kernel(m * omega - k * tuned, block);
    const double middle_block = 0.5 * (static_cast<double>(span) - 1.0);
    for (int d = -2 * count; d <= count; ++d) {
        // Row 0 isn't turned back, but then neither does the fit's ω differ from its tuned 0.
        const Complex turn = std::polar(1.0, d * omega * block);
        Complex phase = std::polar(1.0, -d * omega * block * middle_block);
        Complex sum{};
        Complex first_moment{};
        for (std::size_t b = 0; b < span; ++b, phase *= turn) {
            sum += phase;
            first_moment += (static_cast<double>(b) - middle_block) * phase;
        }
        comb[static_cast<std::size_t>(d + 2 * partials)] = sum / static_cast<double>(span);
        comb_slope[static_cast<std::size_t>(d + 2 * partials)] = block * first_moment;
    }
}

/// The phasors that explain all means together (Gauss–Seidel: leaks are small).
void HarmonicFitter::State::solve_phasors() {
    constexpr int kMostSweeps = 30;
    constexpr double kPrecision = 1e-9;
    for (int sweep = 0; sweep < kMostSweeps; ++sweep) {
        double change = 0.0;
        double size = 0.0;
        for (int k = 0; k <= count; ++k) {
            Complex rest = mean[static_cast<std::size_t>(k)];
            for (int m = -count; m <= count; ++m)
                if (m != k) rest -= signed_phasor(m) * leak_at(k, m) * comb_at(m - k);
            Complex now = rest / leak_at(k, k);
            if (k == 0) now = now.real();
            change += std::norm(now - phasor[static_cast<std::size_t>(k)]);
            size += std::norm(now);
            phasor[static_cast<std::size_t>(k)] = now;
        }
        if (change <= kPrecision * kPrecision * size) break;
    }
}

/// How far partial k stands out of its noise, as a power ratio over the whole span.
double HarmonicFitter::State::presence(int k) const {
    const auto i = static_cast<std::size_t>(k);
    if (noise[i] <= 0.0) return 0.0;
    return std::norm(phasor[i] * block) * static_cast<double>(span) / noise[i];
}

/// Information of partial k on ω. What may be mere noise counts for nothing: its number squared
/// would make it loud.
double HarmonicFitter::State::information(int k) const {
    const auto i = static_cast<std::size_t>(k);
    // Noise alone exceeds x times its mean power with a chance of e^−x.
    constexpr double kAbsent = 6.0;
    constexpr double kPresent = 14.0;
    const double certainty = (presence(k) - kAbsent) / (kPresent - kAbsent);
    if (certainty <= 0.0) return 0.0;
    return std::min(certainty, 1.0) * 2.0 * k * k * std::norm(phasor[i]) * square(block) *
           time_square / noise[i];
}

/// Partial k's own answer: its pitch minus the present ω.
double HarmonicFitter::State::offset(int k) const {
    const auto i = static_cast<std::size_t>(k);
    Complex rest = slope[i];
    for (int m = -count; m <= count; ++m)
        if (m != k) rest -= signed_phasor(m) * leak_at(k, m) * comb_slope_at(m - k);
    const double size = std::norm(phasor[i]) * block * time_square * k;
    return (rest * std::conj(phasor[i])).imag() / size;
}

/// The least-squares step of ω from where it is.
double HarmonicFitter::State::step() const {
    double sum = 0.0;
    double weights = 0.0;
    for (int k = 1; k <= count; ++k) {
        const double weight = information(k);
        if (weight <= 0.0) continue;
        sum += weight * offset(k);
        weights += weight;
    }
    return weights > 0.0 ? sum / weights : 0.0;
}

/// Fills `common` with the fundamental's residual phase by the partials 1 to `highest`, and
/// `slopes` with their own answers. Returns their information, 0 when none is present.
double HarmonicFitter::State::common_phase(int highest) {
    present = 0;
    double weights = 0.0;
    std::fill_n(common.begin(), span, 0.0);
    for (int k = 1; k <= highest; ++k) {
        const double weight = information(k);
        if (weight <= 0.0) continue;
        slopes[present++] = {offset(k), weight};
        weights += weight;
        remove_leaks(k);
        const auto i = static_cast<std::size_t>(k);
        const double size = std::norm(phasor[i]) * leak_at(k, k) * k;
        for (std::size_t b = 0; b < span; ++b)
            common[b] += weight * (residual[b] * std::conj(phasor[i])).imag() / size;
    }
    if (weights <= 0.0) return 0.0;
    for (std::size_t b = 0; b < span; ++b)
        common[b] /= weights;
    return weights;
}

/// Turns the series back along the common phase's slow movement, so that no partial loses its
/// coherence to it, and notes the movement. The line stays for step(). Lowest partials first: a
/// phase that goes round at the high ones is found at the low ones.
void HarmonicFitter::State::follow(int highest) {
    const double weights = common_phase(highest);
    if (weights <= 0.0) return;
    const PhaseModes found = modes_of(std::span(common).first(span), movement.count);
    const double mode_noise = time_square / weights / static_cast<double>(span);
    // Noise alone exceeds 9 times its mean once in 400.
    constexpr double kChance = 9.0;
    constexpr double kCertain = 16.0;
    PhaseModes move;
    bool moved = false;
    for (std::size_t j = 2; j <= static_cast<std::size_t>(movement.count); ++j) {
        const double ratio = square(found.size[j]) / mode_noise;
        const double belief = std::clamp((ratio - kChance) / (kCertain - kChance), 0.0, 1.0);
        move.size[j] = belief * found.size[j];
        movement.size[j] += move.size[j];
        moved = moved || belief > 0.0;
    }
    if (!moved) return;
    for (std::size_t b = 0; b < span; ++b) {
        const auto polynomials = legendre(b, span, movement.count);
        double angle = 0.0;
        for (std::size_t j = 2; j <= static_cast<std::size_t>(movement.count); ++j)
            angle += move.size[j] * polynomials[j];
        const Complex turn = std::polar(1.0, -angle);
        Complex phase = turn;
        for (int k = 1; k <= count; ++k, phase *= turn)
            row(k)[b] *= phase;
    }
}

/// Leaves in `residual` what the model doesn't explain in the series of partial k.
void HarmonicFitter::State::remove_leaks(int k) {
    const auto i = static_cast<std::size_t>(k);
    const Complex* z = row(k);
    const Complex own = phasor[i] * leak_at(k, k);
    double power = 0.0;
    for (std::size_t b = 0; b < span; ++b) {
        residual[b] = z[b] - own;
        power += std::norm(residual[b]);
    }
    const double middle_block = 0.5 * (static_cast<double>(span) - 1.0);
    // A leak this far under what is there changes nothing.
    const double negligible = 1e-4 * power / static_cast<double>(span);
    for (int m = -count; m <= count; ++m) {
        if (m == k) continue;
        const Complex size = signed_phasor(m) * leak_at(k, m);
        if (std::norm(size) < negligible) continue;
        const Complex turn = std::polar(1.0, (m - k) * omega * block);
        Complex phase = size * std::polar(1.0, -(m - k) * omega * block * middle_block);
        for (std::size_t b = 0; b < span; ++b, phase *= turn)
            residual[b] -= phase;
    }
}

/// Each partial's noise from the second differences of what is left: they see the noise between
/// this partial and its neighbours, and hardly the partial's own slow wander.
void HarmonicFitter::State::estimate_noise() {
    constexpr double kGain = 6.0;  // 1 + 4 + 1
    for (int k = 1; k <= count; ++k) {
        remove_leaks(k);
        double sum = 0.0;
        for (std::size_t b = 1; b + 1 < span; ++b)
            sum += std::norm(residual[b - 1] - 2.0 * residual[b] + residual[b + 1]);
        noise[static_cast<std::size_t>(k)] = sum / (kGain * static_cast<double>(span - 2));
    }
    steady_noise();
}

/// Few blocks make a shaky floor, and shaky weights: lean on the floors of the neighbours, through
/// a line in log power over log frequency about each partial, as far as the own one is uncertain.
void HarmonicFitter::State::steady_noise() {
    constexpr double kNeighbours = 30.0;  // degrees of freedom that the line is trusted for
    constexpr double kWidth = 0.5;        // in log frequency
    // Second differences of white noise: 1 + 2 (4²/6² + 1²/6²) of them are worth one.
    const double freedom = static_cast<double>(span - 2) / (1.0 + 2.0 * (16.0 + 1.0) / 36.0);
    const double log_bias = 0.5 / freedom;
    for (int k = 1; k <= count; ++k)
        logs[static_cast<std::size_t>(k)] =
            noise[static_cast<std::size_t>(k)] > 0.0
                ? std::log(noise[static_cast<std::size_t>(k)]) + log_bias
                : 0.0;
    for (int k = 1; k <= count; ++k) {
        double w0 = 0.0, w1 = 0.0, w2 = 0.0, y0 = 0.0, y1 = 0.0;
        for (int m = 1; m <= count; ++m) {
            const auto i = static_cast<std::size_t>(m);
            if (m == k || noise[i] <= 0.0) continue;
            const double x = std::log(static_cast<double>(m) / k) / kWidth;
            const double w = std::exp(-0.5 * x * x) / m;
            w0 += w;
            w1 += w * x;
            w2 += w * x * x;
            y0 += w * logs[i];
            y1 += w * x * logs[i];
        }
        const double determinant = w0 * w2 - w1 * w1;
        trend[static_cast<std::size_t>(k)] = determinant > 1e-3 * w0 * w0
                                                 ? std::exp((w2 * y0 - w1 * y1) / determinant)
                                                 : noise[static_cast<std::size_t>(k)];
    }
    for (int k = 1; k <= count; ++k) {
        const auto i = static_cast<std::size_t>(k);
        noise[i] = (freedom * noise[i] + kNeighbours * trend[i]) / (freedom + kNeighbours);
    }
}

/// One linear step, or with `follow_to` > 0 also one along the movement of the lowest partials.
double HarmonicFitter::State::improve(int follow_to, bool noise_too) {
    demodulated_sums();
    if (std::abs(omega - tabulated) > kTableReach * omega) tabulate_leaks();
    solve_phasors();
    if (noise_too) estimate_noise();
    const double change = step();
    if (follow_to > 0) follow(follow_to);
    derotate(change);
    return change;
}

/// Leaves out the partials above the highest that may be there: they cost time.
void HarmonicFitter::State::leave_absent() {
    constexpr double kAbsent = 3.0;
    while (count > 1 && presence(count) < kAbsent)
        --count;
}

/// How much stands out of the noise, all partials together.
double HarmonicFitter::State::clarity() const {
    double sum = 0.0;
    for (int k = 1; k <= count; ++k)
        sum += presence(k);
    return sum;
}

/// Energy of the fitted tone and offset in a mean block. The partials' powers don't just add up
/// over a span that isn't whole periods.
double HarmonicFitter::State::explained() const {
    double sum = 0.0;
    for (std::size_t k = 0; k <= static_cast<std::size_t>(count); ++k)
        sum += (k == 0 ? 1.0 : 2.0) * (mean[k] * std::conj(phasor[k])).real();
    return sum;
}

/// Follows the movement from partial 1 upward, or, where that leads astray (rumble beside a weak
/// fundamental), by all partials at once.
void HarmonicFitter::State::converge(const PartialBank& bank, std::size_t first) {
    constexpr int kMostSteps = 12;
    constexpr double kPrecision = 1e-10;  // 2e-7 cents
    approach();
    improve(0, true);
    improve(0, true);
    leave_absent();
    const double before = clarity();
    const int kept = count;
    for (int highest = 1; highest < count; highest *= 2)
        improve(highest, false);
    improve(count, false);
    improve(count, false);
    if (clarity() < before) {
        load(bank, first, span);
        count = kept;
        approach();
        improve(0, true);
        improve(count, true);
        improve(count, true);
    }
    improve(0, true);
    improve(0, true);
    for (int i = 0; i < kMostSteps; ++i)
        if (std::abs(improve(0, false)) < kPrecision * omega) break;
}

std::optional<HarmonicFit> HarmonicFitter::fit(const PartialBank& bank, std::size_t first,
                                               std::size_t count) {
    State& s = *state_;
    if (count < kFewestBlocks || count > s.blocks || first + count > bank.blocks()) return {};
    if (!s.load(bank, first, count)) return {};
    s.converge(bank, first);
    // Partials that have left their bands can't be told from their neighbours: the fit ran off.
    if (!(std::abs(s.omega - s.tuned) * s.count * s.block < std::numbers::pi)) return {};
    const double hertz = bank.rate().value() / kTwoPi;
    HarmonicFit fit;
    fit.pitch = Hertz{s.omega * hertz};
    fit.from = bank.block_first(first);
    fit.to = bank.block_first(first + count);
    fit.count = s.count;
    double information = 0.0;
    for (int k = 0; k <= s.count; ++k) {
        const auto i = static_cast<std::size_t>(k);
        FittedPartial& partial = fit.partials[i];
        partial.phasor = s.phasor[i];
        if (k == 0) continue;
        partial.noise = s.noise[i];
        partial.presence = s.presence(k);
        partial.information = s.information(k) / square(hertz);
        information += partial.information;
        const double own = std::norm(s.phasor[i]) * (1.0 - 1.0 / std::max(1.0, partial.presence));
        fit.power += 2.0 * own;
    }
    if (information <= 0.0) return {};
    const double weights = s.common_phase(s.count);
    PhaseModes modes = modes_of(std::span(s.common).first(count), s.movement.count);
    for (std::size_t j = 2; j < modes.size.size(); ++j)
        modes.size[j] += s.movement.size[j];
    const double span = s.block * static_cast<double>(count);
    const double mode_noise = s.time_square / weights / static_cast<double>(count);
    const double wander = mean_beside_slope_variance(modes, mode_noise) / square(span);
    const double scatter = scatter_variance(std::span(s.slopes).first(s.present));
    fit.sd = Hertz{
        std::sqrt(1.0 / information + square(hertz) * (scatter + square(kMeanAmbiguity) * wander))};
    double energy = 0.0;
    for (const float e : bank.energy().subspan(first, count))
        energy += static_cast<double>(e);
    const double total = energy / (s.block * static_cast<double>(count));
    const double rest = total - s.explained() / s.block;
    fit.snr = Decibels{10.0 * std::log10(fit.power / std::max(rest, 1e-12 * total))};
    return fit;
}

}  // namespace rankwright::listening

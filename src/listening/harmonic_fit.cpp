#include "listening/harmonic_fit.h"

#include "listening/arithmetic.h"
#include "listening/harmonic_fit_state.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

/// Tables of leaks hold for an ω this near, relatively: a thousandth of a cent.
constexpr double kTableReach = 6e-7;

/// Σ_{n<N} e^{jxn} about the middle frame (Dirichlet's kernel): real.
double kernel(double x, double frames) {
    const double half = 0.5 * std::remainder(x, kTurn);
    if (std::abs(half) * frames < 1e-4) return frames;
    return std::sin(frames * half) / std::sin(half);
}

}  // namespace

HarmonicFitter::HarmonicFitter(int most_partials, std::size_t most_blocks)
    : state_(std::make_unique<State>(most_partials, most_blocks)) {}
HarmonicFitter::~HarmonicFitter() = default;
HarmonicFitter::HarmonicFitter(HarmonicFitter&&) noexcept = default;
HarmonicFitter& HarmonicFitter::operator=(HarmonicFitter&&) noexcept = default;

bool HarmonicFitter::State::load(const PartialBank& bank, std::size_t first, std::size_t n,
                                 std::span<const std::uint8_t> only) {
    count = std::min(bank.partials(), partials);
    span = std::min(n, blocks);
    block = static_cast<double>(bank.block_frames());
    rate = bank.rate().value();
    tuned = omega = kTurn * bank.pitch().value() / bank.rate().value();
    place_heard(only);
    // The bank's phases count from frame 0 of the stream; ours from the middle.
    const double middle = static_cast<double>(bank.block_first(first).value) +
                          block * middle_block + 0.5 * (block - 1.0);
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
        const Complex rebase = std::polar(1.0, kTurn * turn * k);
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

/// Which blocks count, and where their middle lies.
void HarmonicFitter::State::place_heard(std::span<const std::uint8_t> only) {
    heard_blocks = middle_block = time_square = 0.0;
    for (std::size_t b = 0; b < span; ++b) {
        heard[b] = only.empty() || only[b] != 0 ? 1 : 0;
        if (heard[b] == 0) continue;
        heard_blocks += 1.0;
        middle_block += static_cast<double>(b);
    }
    middle_block /= std::max(heard_blocks, 1.0);
    for (std::size_t b = 0; b < span; ++b)
        if (heard[b] != 0) time_square += square(block * (static_cast<double>(b) - middle_block));
}

/// Turns every partial's series back by k·`by` radians a frame.
void HarmonicFitter::State::derotate(double by) {
    for (int k = 1; k <= count; ++k) {
        Complex* z = row(k);
        for_turning(std::polar(1.0, k * by * block * middle_block),
                    std::polar(1.0, -k * by * block), span,
                    [z](std::size_t b, const Complex& at) { z[b] = times(z[b], at); });
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
            if (!tells(k)) continue;
            const Complex* z = row(k);
            Complex product{};
            double power = 0.0;
            for (std::size_t b = 0; b + lag < span; ++b) {
                if (heard[b] == 0 || heard[b + lag] == 0) continue;
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
    for (int k = 0; k <= count; ++k) {
        const Complex* z = row(k);
        Complex sum{};
        Complex first_moment{};
        for (std::size_t b = 0; b < span; ++b) {
            if (heard[b] == 0) continue;
            sum += z[b];
            first_moment += (static_cast<double>(b) - middle_block) * z[b];
        }
        mean[static_cast<std::size_t>(k)] = sum / heard_blocks;
        slope[static_cast<std::size_t>(k)] = block * first_moment;
    }
}

/// What each partial (m < 0: its mirror image) puts into the block sums of each other.
void HarmonicFitter::State::tabulate_leaks() {
    tabulated = omega;
    // kernel(mω − k·tuned) by the sines and cosines of both; of a partial's own, whose difference
    // is hardly anything, directly.
    for (int k = 0; k <= count; ++k) {
        const double tone = 0.5 * k * omega, bank = 0.5 * k * tuned;
        const auto i = static_cast<std::size_t>(k);
        of_tone[i] = {std::sin(tone), std::cos(tone), std::sin(block * tone),
                      std::cos(block * tone)};
        of_bank[i] = {std::sin(bank), std::cos(bank), std::sin(block * bank),
                      std::cos(block * bank)};
    }
    for (int k = 0; k <= count; ++k) {
        const HalfAngle& b = of_bank[static_cast<std::size_t>(k)];
        for (int m = 0; m <= count; ++m) {
            const HalfAngle& a = of_tone[static_cast<std::size_t>(m)];
            const double above = a.block_sine * b.block_cosine - a.block_cosine * b.block_sine;
            const double mirrored = a.block_sine * b.block_cosine + a.block_cosine * b.block_sine;
            leak_at(k, m) = m == k ? kernel(m * omega - k * tuned, block)
                                   : above / (a.sine * b.cosine - a.cosine * b.sine);
            if (m > 0) leak_at(k, -m) = mirrored / (a.sine * b.cosine + a.cosine * b.sine);
        }
    }
    // Row 0 isn't turned back, but then neither does the fit's ω differ from its tuned 0.
    for (int d = 0; d <= 2 * count; ++d) {
        Complex sum{};
        Complex first_moment{};
        for_turning(std::polar(1.0, -d * omega * block * middle_block),
                    std::polar(1.0, d * omega * block), span, [&](std::size_t b, Complex phase) {
                        if (heard[b] == 0) return;
                        sum += phase;
                        first_moment += (static_cast<double>(b) - middle_block) * phase;
                    });
        sum /= heard_blocks;
        first_moment *= block;
        // Of −d all phases are the conjugate ones.
        const auto below = static_cast<std::size_t>(2 * partials - d);
        comb[below] = std::conj(sum);
        comb_slope[below] = std::conj(first_moment);
        if (d > count) continue;
        const auto above = static_cast<std::size_t>(2 * partials + d);
        comb[above] = sum;
        comb_slope[above] = first_moment;
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
        if (tells(k)) sum += presence(k);
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
void HarmonicFitter::State::converge(const PartialBank& bank, std::size_t first,
                                     std::span<const std::uint8_t> only) {
    constexpr int kMostSteps = 12;
    constexpr double kPrecision = 1e-9;  // 2e-6 cents
    approach();
    unwind();
    improve(0, true);
    leave_absent();
    improve(0, true);
    const double before = clarity();
    const int kept = count;
    for (int highest = 1; highest < count; highest *= 2)
        improve(highest, false);
    improve(count, false);
    if (clarity() < before) {
        load(bank, first, span, only);
        count = kept;
        approach();
        unwind();
        improve(0, true);
        improve(count, true);
        improve(count, true);
    }
    improve(0, true);
    for (int i = 0; i < kMostSteps; ++i)
        if (std::abs(improve(0, false)) < kPrecision * omega) break;
}

std::optional<HarmonicFit> HarmonicFitter::fit(const PartialBank& bank, std::size_t first,
                                               std::size_t count,
                                               std::span<const std::uint8_t> only,
                                               std::span<const std::uint8_t> not_its_own) {
    State& s = *state_;
    s.not_its_own = not_its_own;
    if (count < kFewestBlocks || count > s.blocks || first + count > bank.blocks()) return {};
    assert(only.empty() || only.size() == count);
    if (!s.load(bank, first, count, only)) return {};
    if (s.heard_blocks < static_cast<double>(kFewestBlocks)) return {};
    s.converge(bank, first, only);
    // Partials that have left their bands can't be told from their neighbours: the fit ran off.
    if (!(std::abs(s.omega - s.tuned) * s.count * s.block < std::numbers::pi)) return {};
    const double hertz = bank.rate().value() / kTurn;
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
    fit.sd = Hertz{std::sqrt(1.0 / information + square(hertz) * s.wander_variance())};
    double energy = 0.0;
    for (std::size_t b = 0; b < count; ++b)
        if (s.heard[b] != 0) energy += static_cast<double>(bank.energy()[first + b]);
    const double total = energy / (s.block * s.heard_blocks);
    const double rest = total - s.explained() / s.block;
    fit.snr = Decibels{10.0 * std::log10(fit.power / std::max(rest, 1e-12 * total))};
    return fit;
}

}  // namespace rankwright::listening

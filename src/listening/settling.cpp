#include "listening/settling.h"

#include "core/median.h"
#include "listening/arithmetic.h"
#include "listening/linear_solve.h"
#include "listening/wander.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

namespace {

/// No speech lasts longer, nor does a room's build-up matter.
constexpr Seconds kLooked{1.5};
constexpr std::array<double, 7> kTimeConstants_s{0.02, 0.03, 0.05, 0.08, 0.12, 0.2, 0.3};
constexpr double kLongestConstant = 0.25;  // of the span
constexpr std::size_t kFewestBlocks = 24;
/// Of a partial's phase from block to block, radians: beyond it turns are miscounted.
constexpr double kNoisiest = 0.4;
/// Of the usual level: a partial that only begins in a block has no phase there.
constexpr double kFull = 0.3;
/// Slow cosines for the wander, a second.
constexpr double kWanderTerms = 1.5;
constexpr std::size_t kMostTerms = 8;
/// What a creep has to explain, in variances of a block's phase.
constexpr double kMoves = 8.0;
constexpr double kNearlyAsWell = 1.3;
/// At its beginning: speech is ten times as much. Common practice, no source.
constexpr Cents kLeast{0.1};
/// At its beginning, from the middle compass up, more in the bass: simulated pipes with 0.3 cent of
/// wander that have long stood seem to creep from up to 1.4 cents.
constexpr Cents kNoWander{2.5};
/// A pipe's mean pitch over a second is hardly defined better.
constexpr Cents kStrays{0.005};
constexpr double kStep_s = 0.01;

/// Phase of the fundamental, as all partials together tell it, of each block.
struct CommonPhase {
    std::vector<double> radians;  // about a straight line
    std::vector<double> weight;   // 1 at the usual level
};

/// Of one partial, its turns counted from the end back to the beginning, where it is softer.
std::vector<double> phase_of(std::span<const std::complex<float>> z) {
    std::vector<double> phase(z.size());
    phase.back() = std::arg(std::complex<double>(z.back()));
    for (std::size_t b = z.size() - 1; b-- > 0;) {
        const double now = std::arg(std::complex<double>(z[b]));
        phase[b] = phase[b + 1] + std::remainder(now - phase[b + 1], kTurn);
    }
    return phase;
}

/// Variance of what is no movement, by the second differences.
double noise_of(std::span<const double> phase) {
    std::vector<double> squares;
    for (std::size_t b = 1; b + 1 < phase.size(); ++b)
        squares.push_back(square(phase[b - 1] - 2.0 * phase[b] + phase[b + 1]) / 6.0);
    constexpr double kMedianOfSquare = 0.455;  // of a normal variable
    return median(std::move(squares)) / kMedianOfSquare;
}

/// Takes the straight line of the later half out of a phase.
void level_out(std::vector<double>& phase) {
    const std::size_t half = phase.size() / 2;
    const auto n = static_cast<double>(phase.size() - half);
    const double middle = static_cast<double>(half) + 0.5 * (n - 1.0);
    double mean = 0.0, tt = 0.0, tp = 0.0;
    for (std::size_t b = half; b < phase.size(); ++b) {
        const double t = static_cast<double>(b) - middle;
        mean += phase[b] / n;
        tt += t * t;
        tp += t * phase[b];
    }
    for (std::size_t b = 0; b < phase.size(); ++b)
        phase[b] -= mean + tp / tt * (static_cast<double>(b) - middle);
}

CommonPhase common_phase(const PartialBank& bank, std::size_t first, std::size_t count) {
    CommonPhase common{std::vector<double>(count, 0.0), std::vector<double>(count, 0.0)};
    double all = 0.0;
    for (int k = 1; k <= bank.partials(); ++k) {
        const auto z = bank.series(k).subspan(first, count);
        std::vector<double> phase = phase_of(z);
        const double noise = noise_of(std::span(phase).subspan(count / 2));
        if (!(noise < square(kNoisiest))) continue;
        level_out(phase);
        std::vector<double> levels;
        for (const auto& value : z)
            levels.push_back(std::abs(value));
        const double usual = median(levels);
        const double weight = k * k / std::max(noise, 1e-12);
        all += weight;
        for (std::size_t b = 0; b < count; ++b) {
            const double level = levels[b] / usual;
            const double share = level < kFull ? 0.0 : weight * std::min(1.0, level);
            common.radians[b] += share * phase[b] / k;
            common.weight[b] += share;
        }
    }
    for (std::size_t b = 0; b < count; ++b) {
        common.radians[b] /= std::max(common.weight[b], 1e-300);
        common.weight[b] /= std::max(all, 1e-300);
    }
    if (!(all > 0.0)) common.weight.clear();
    return common;
}

/// Least squares by rows of `terms` values each.
class Rows {
  public:
    explicit Rows(std::size_t terms) : n_(terms), normal_(terms * terms, 0.0), by_(terms, 0.0) {}
    void add(std::span<const double> row, double y, double weight) {
        for (std::size_t i = 0; i < n_; ++i) {
            for (std::size_t j = 0; j <= i; ++j)
                normal_[i * n_ + j] += weight * row[i] * row[j];
            by_[i] += weight * row[i] * y;
        }
        squares_ += weight * y * y;
    }
    /// The last term's value, and the squares left over. Empty where the terms are one another's.
    struct Solved {
        double last, left;
    };
    std::optional<Solved> solve() const {
        std::vector<double> l = normal_, x = by_;
        if (!cholesky(std::span(l), n_)) return std::nullopt;
        solve_lower(std::span<const double>(l), n_, x.data());
        double left = squares_;
        for (const double y : x)
            left -= y * y;
        return Solved{x[n_ - 1] / l[n_ * n_ - 1], left};
    }

  private:
    std::size_t n_;
    std::vector<double> normal_, by_;
    double squares_ = 0.0;
};

struct Creep {
    double radians = 0.0;  // of the fundamental, at the beginning
    double constant_s = 0.0;
    double noise = 0.0;  // variance of a block
    double gain = 0.0;   // what it explains, in such variances
};

/// Those that explain the phase nearly as well as the best does: what is left is wander, of which
/// chance makes more or less.
std::vector<Creep> find_creeps(const CommonPhase& phase, double block_s, double longest_s) {
    const std::size_t count = phase.radians.size();
    const double span_s = static_cast<double>(count) * block_s;
    const auto wander = static_cast<std::size_t>(std::max(1.0, std::round(kWanderTerms * span_s)));
    const std::size_t terms = std::min(kMostTerms, 2 + wander);
    const auto left_by = [&](double constant_s) {
        const bool creeps = constant_s > 0.0;
        Rows rows(terms + (creeps ? 1 : 0));
        std::array<double, kMostTerms + 1> row{};
        for (std::size_t b = 0; b < count; ++b) {
            const double part = (static_cast<double>(b) + 0.5) / static_cast<double>(count);
            row[0] = 1.0;
            row[1] = part - 0.5;
            for (std::size_t j = 2; j < terms; ++j)
                row[j] = std::cos(std::numbers::pi * static_cast<double>(j - 1) * part);
            if (creeps) row[terms] = std::exp(-part * span_s / constant_s);
            rows.add(std::span(row).first(terms + (creeps ? 1 : 0)), phase.radians[b],
                     phase.weight[b]);
        }
        return rows.solve();
    };
    const auto without = left_by(0.0);
    if (!without) return {};
    std::vector<Creep> creeps;
    double least = without->left;
    const auto freedom = static_cast<double>(count - terms - 1);
    for (const double constant_s : kTimeConstants_s) {
        const auto with = constant_s > longest_s ? std::nullopt : left_by(constant_s);
        if (!with) continue;
        least = std::min(least, with->left);
        const double noise = std::max(with->left, 1e-30) / freedom;
        creeps.push_back({with->last, constant_s, noise, (without->left - with->left) / noise});
    }
    std::erase_if(creeps, [&](const Creep& creep) {
        return creep.noise * freedom > kNearlyAsWell * std::max(least, 1e-30);
    });
    return creeps;
}

/// By how much the creep moves the slope over what is left, radians a second, where the beginning
/// up to `from_s` is left out.
double moves_slope(const Creep& creep, double from_s, double span_s) {
    const double left_s = span_s - from_s, c = creep.constant_s, x = std::exp(-left_s / c);
    const double moment = c * c * (1.0 - x) - c * left_s * x - 0.5 * left_s * c * (1.0 - x);
    return 12.0 / (left_s * left_s * left_s) * creep.radians * std::exp(-from_s / c) * moment;
}

/// How far from the pitch it begins.
double cents_at_once(const Creep& creep, Hertz pitch) {
    const Hertz off{creep.radians / creep.constant_s / kTurn};
    return std::abs(interval(pitch, pitch + off).value());
}

}  // namespace

Settling settling(const PartialBank& bank, std::size_t first, std::size_t last, bool begins,
                  Seconds shortest) {
    const double block_s = static_cast<double>(bank.block_frames()) / bank.rate().value();
    const double span_s = static_cast<double>(last - first) * block_s;
    const std::size_t count =
        std::min(last - first, static_cast<std::size_t>(kLooked.count() / block_s));
    if (count < kFewestBlocks) return {};
    const CommonPhase phase = common_phase(bank, first, count);
    if (phase.weight.empty()) return {};
    std::vector<Creep> creeps = find_creeps(phase, block_s, kLongestConstant * span_s);
    // Where the tone isn't heard to begin each of them has to be beyond what may be wander.
    const double wander = kNoWander.value() * std::max(1.0, wander_along_compass(bank.pitch()));
    const auto wanders = [&](const Creep& c) { return cents_at_once(c, bank.pitch()) < wander; };
    if (!begins && std::any_of(creeps.begin(), creeps.end(), wanders)) return {};
    std::erase_if(creeps, [&](const Creep& creep) {
        return creep.gain < kMoves || cents_at_once(creep, bank.pitch()) < kLeast.value();
    });
    if (creeps.empty()) return {};
    const auto moves = [&](double from_s) {
        double most = 0.0;
        for (const Creep& creep : creeps)
            most = std::max(most, std::abs(moves_slope(creep, from_s, span_s)));
        return most;
    };
    const double strays = kStrays.value() / kCents * bank.pitch().value() * kTurn;
    double best_s = 0.0, least = 1e300;
    for (double from_s = 0.0; from_s <= span_s - shortest.count(); from_s += kStep_s) {
        const double left_s = span_s - from_s;
        const double error = square(moves(from_s)) +
                             12.0 * creeps.front().noise * block_s / (left_s * left_s * left_s) +
                             square(strays / left_s);
        if (error < least) {
            least = error;
            best_s = from_s;
        }
    }
    return {Seconds{best_s}, Hertz{moves(best_s) / kTurn}};
}

}  // namespace rankwright::listening

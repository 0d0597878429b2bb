#include "tuning/steady_mean.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::tuning {

namespace {
// A pipe that was tapped stands elsewhere for good; a gust of wander comes back sooner than this.
constexpr double kStepLasts_s = 0.3;
constexpr double kStepInSd = 3.5;
constexpr double kLeastStep_cents = 0.5;
// A step among the batches: so clear, so much better an account of them than a drift, and as large
// as a tap that matters.
constexpr double kStepClear = 6.0;
constexpr double kBetterThanDrift = 0.35;
constexpr double kLeastBatchStep_cents = 0.25;
}  // namespace

Cents without(Cents uncertainty, Cents shared) {
    return Cents{std::sqrt(std::max(
        0.0, uncertainty.value() * uncertainty.value() - shared.value() * shared.value()))};
}

void SteadyMean::restart() {
    count_ = 0;
    away_ = 0;
    ++stands_;
}

void SteadyMean::add(Seconds at, Cents reading, Cents uncertainty, Cents shared) {
    const double at_s = at.count();
    if (count_ != 0 && stepped_away(reading.value(), uncertainty.value())) {
        if (away_++ == 0) away_since_s_ = at_s;
        if (at_s - away_since_s_ < kStepLasts_s) return;
        restart();
    }
    away_ = 0;
    if (count_ == 0 || at_s - batches_[count_ - 1].began_s >= kBatch.count()) {
        forget_before_step();
        const bool full =
            count_ == kMost || (count_ != 0 && at_s - batches_[0].began_s > kLongest.count());
        if (full) {
            std::move(batches_.begin() + 1, batches_.begin() + static_cast<long>(count_),
                      batches_.begin());
            --count_;
        }
        batches_[count_++] = {at_s, 0.0, 0.0, 0.0, 0};
    }
    Batch& batch = batches_[count_ - 1];
    batch.sum += reading.value();
    batch.sum_own_sd += without(uncertainty, shared).value();
    batch.sum_shared_sd += shared.value();
    ++batch.count;
    last_s_ = at_s;
}

bool SteadyMean::stepped_away(double reading, double sd) const {
    const double here = mean()->value();
    const double spread = std::hypot(sd, scatter());
    return std::abs(reading - here) > std::max(kLeastStep_cents, kStepInSd * spread);
}

double SteadyMean::scatter() const {
    if (count_ < 3) return 0.0;
    const double here = mean()->value();
    double sum = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        sum += std::pow(batches_[i].mean() - here, 2);
    return std::sqrt(sum / static_cast<double>(count_ - 1));
}

std::optional<Cents> SteadyMean::mean() const {
    if (count_ == 0) return std::nullopt;
    double sum = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        sum += batches_[i].mean();
    return Cents{sum / static_cast<double>(count_)};
}

std::optional<Cents> SteadyMean::uncertainty() const {
    if (count_ == 0) return std::nullopt;
    const double batches = static_cast<double>(count_);
    double own = 0.0, shared = 0.0;
    for (std::size_t i = 0; i < count_; ++i) {
        own += batches_[i].own_sd() / batches;
        shared += batches_[i].shared_sd() / batches;
    }
    // Neighbouring readings rest on the same sound: a batch knows no more than one reading.
    return Cents{std::hypot(std::max(own, scatter()) / std::sqrt(batches), shared)};
}

Seconds SteadyMean::span() const {
    return Seconds{count_ == 0 ? 0.0 : last_s_ - batches_[0].began_s};
}

SteadyMean::Line SteadyMean::line() const {
    const double n = static_cast<double>(count_);
    double mean_t = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        mean_t += batches_[i].began_s / n;
    const double mean_c = mean()->value();
    Line line;
    double tc = 0.0;
    for (std::size_t i = 0; i < count_; ++i) {
        const double t = batches_[i].began_s - mean_t;
        line.tt += t * t;
        tc += t * (batches_[i].mean() - mean_c);
    }
    line.slope = tc / line.tt;
    for (std::size_t i = 0; i < count_; ++i)
        line.left +=
            std::pow(batches_[i].mean() - mean_c - line.slope * (batches_[i].began_s - mean_t), 2);
    return line;
}

// The split of the batches into two levels that leaves least about them.
void SteadyMean::forget_before_step() {
    constexpr std::size_t kEach = 2;
    if (count_ < 2 * kEach + 1) return;
    const auto level = [&](std::size_t from, std::size_t to) {
        double sum = 0.0, squares = 0.0;
        for (std::size_t i = from; i < to; ++i) {
            sum += batches_[i].mean();
            squares += batches_[i].mean() * batches_[i].mean();
        }
        const double n = static_cast<double>(to - from);
        return std::pair{sum / n, std::max(0.0, squares - sum * sum / n)};
    };
    std::size_t split = 0;
    double least = 0.0, step = 0.0;
    for (std::size_t at = kEach; at + kEach <= count_; ++at) {
        const auto [before, left_before] = level(0, at);
        const auto [after, left_after] = level(at, count_);
        if (split != 0 && left_before + left_after >= least) continue;
        split = at;
        least = left_before + left_after;
        step = std::abs(after - before);
    }
    const double n = static_cast<double>(count_);
    const double share = static_cast<double>(split) * (n - static_cast<double>(split)) / n;
    const double sd_of_step = std::sqrt(least / (n - 2.0) / share);
    if (step < kLeastBatchStep_cents || step < kStepClear * sd_of_step) return;
    if (least > kBetterThanDrift * line().left) return;
    std::move(batches_.begin() + static_cast<long>(split),
              batches_.begin() + static_cast<long>(count_), batches_.begin());
    count_ -= split;
    ++stands_;
}

std::optional<SteadyMean::Drift> SteadyMean::drift() const {
    if (count_ < 4) return std::nullopt;
    const Line fitted = line();
    return Drift{fitted.slope,
                 std::sqrt(fitted.left / (static_cast<double>(count_) - 2.0) / fitted.tt)};
}

}  // namespace rankwright::tuning

#include "listening/pitch_tracker.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

// Wander of the pitch in one second, cents: from a dead steady tone (a tuning fork, a simulated
// one) over real pipes (0.2 to 1) to a sleeve being tapped.
constexpr std::array<double, 9> kWander{0.0, 0.03, 0.1, 0.3, 0.8, 2.0, 6.0, 20.0, 80.0};
// The filters that allow for a jump after lost phases.
constexpr double kFreeWander = 5.0;
// How likely the pitch has jumped by then.
constexpr double kJumps = 0.4;
// The phases' variance in units of what was estimated beside the partials.
constexpr std::array<double, 4> kNoise{0.7, 1.5, 5.0, 25.0};
// How often a pipe changes from one way of wandering to another, a second.
constexpr double kChanges = 0.02;

double hertz_a_cent(double hz) { return hz * std::numbers::ln2 / 1200.0; }

}  // namespace

void PitchTracker::begin(Hertz pitch, Cents sd) {
    base_ = pitch.value();
    const double prior = square(sd.value() * hertz_a_cent(base_));
    for (Filter& f : filters_)
        f = {1.0 / kFilters, 0.0, 0.0, 0.0, 0.0, prior};
    phase_known_ = false;
    since_observed_ = 0.0;
    surprise_ = 0.0;
    heard_ = 0.0;
    summarise();
}

void PitchTracker::advance(Seconds by) {
    const double dt = by.count();
    if (dt <= 0.0) return;
    const double cent = hertz_a_cent(base_);
    for (std::size_t i = 0; i < kFilters; ++i) {
        Filter& f = filters_[i];
        const double q = square(kWander[i / kNoises] * cent);
        f.phase += f.offset * dt;
        f.pp += 2.0 * dt * f.po + dt * dt * f.oo + q * dt * dt * dt / 3.0;
        f.po += dt * f.oo + q * dt * dt / 2.0;
        f.oo += q * dt;
    }
    since_observed_ += dt;
    summarise();
}

double PitchTracker::surprise_of(double cycles, double variance) const {
    if (!phase_known_) return 0.0;
    double least = 1e300;
    for (std::size_t i = 0; i < kFilters; ++i) {
        const Filter& f = filters_[i];
        const double spread = f.pp + variance * kNoise[i % kNoises];
        least = std::min(least, square(cycles - f.phase) / spread);
    }
    return least;
}

void PitchTracker::observe(double cycles, double variance) {
    if (!phase_known_) {
        for (std::size_t i = 0; i < kFilters; ++i) {
            filters_[i].phase = cycles;
            filters_[i].pp = variance * kNoise[i % kNoises];
            filters_[i].po = 0.0;
        }
        phase_known_ = true;
        since_observed_ = 0.0;
        summarise();
        return;
    }
    heard_ += since_observed_;
    noise_density_ = variance * since_observed_;
    surprise_ = surprise_of(cycles, variance);
    double most = -1e300;
    std::array<double, kFilters> likelihood{};
    for (std::size_t i = 0; i < kFilters; ++i) {
        Filter& f = filters_[i];
        const double noise = variance * kNoise[i % kNoises];
        const double spread = f.pp + noise;
        const double miss = cycles - f.phase;
        likelihood[i] = -0.5 * (square(miss) / spread + std::log(spread));
        most = std::max(most, likelihood[i]);
        const double phase_gain = f.pp / spread;
        const double offset_gain = f.po / spread;
        f.phase += phase_gain * miss;
        f.offset += offset_gain * miss;
        f.oo -= offset_gain * f.po;
        f.po -= phase_gain * f.po;
        f.pp *= 1.0 - phase_gain;
    }
    double sum = 0.0;
    for (std::size_t i = 0; i < kFilters; ++i) {
        filters_[i].weight *= std::exp(likelihood[i] - most);
        sum += filters_[i].weight;
    }
    for (Filter& f : filters_)
        f.weight = std::max(f.weight / sum, 1e-12);
    mix(since_observed_);
    since_observed_ = 0.0;
    summarise();
}

// Every filter takes over a little of the others' state: all of it when it was far off itself.
void PitchTracker::mix(double dt) {
    const double change = 1.0 - std::exp(-kChanges * dt);
    summarise();
    Filter all{1.0, phase_, offset_, 0.0, 0.0, 0.0};
    for (const Filter& f : filters_) {
        all.pp += f.weight * (f.pp + square(f.phase - phase_));
        all.po += f.weight * (f.po + (f.phase - phase_) * (f.offset - offset_));
        all.oo += f.weight * (f.oo + square(f.offset - offset_));
    }
    for (Filter& f : filters_) {
        const double weight = (1.0 - change) * f.weight + change / kFilters;
        const double own = (1.0 - change) * f.weight / weight;
        const double other = 1.0 - own;
        const double phase = own * f.phase + other * all.phase;
        const double offset = own * f.offset + other * all.offset;
        const double pp =
            own * (f.pp + square(f.phase - phase)) + other * (all.pp + square(all.phase - phase));
        const double po = own * (f.po + (f.phase - phase) * (f.offset - offset)) +
                          other * (all.po + (all.phase - phase) * (all.offset - offset));
        const double oo = own * (f.oo + square(f.offset - offset)) +
                          other * (all.oo + square(all.offset - offset));
        f = {weight, phase, offset, pp, po, oo};
    }
}

void PitchTracker::lose_phase(Cents may_have_jumped) {
    phase_known_ = false;
    for (Filter& f : filters_)
        f.po = 0.0;
    const double jump = square(may_have_jumped.value() * hertz_a_cent(base_));
    if (jump > 0.0) {
        double free_weight = 0.0;
        const auto is_free = [](std::size_t i) { return kWander[i / kNoises] > kFreeWander; };
        for (std::size_t i = 0; i < kFilters; ++i)
            if (is_free(i)) free_weight += filters_[i].weight;
        for (std::size_t i = 0; i < kFilters; ++i) {
            Filter& f = filters_[i];
            f.weight *= is_free(i) ? kJumps / free_weight : (1.0 - kJumps) / (1.0 - free_weight);
            if (!is_free(i)) continue;
            f.offset = offset_;
            f.oo = variance_ + jump;
        }
    }
    summarise();
}

void PitchTracker::rebase(Hertz pitch) {
    for (Filter& f : filters_)
        f.offset += base_ - pitch.value();
    base_ = pitch.value();
    lose_phase(Cents{0.0});
}

void PitchTracker::summarise() {
    phase_ = offset_ = variance_ = 0.0;
    for (const Filter& f : filters_) {
        phase_ += f.weight * f.phase;
        offset_ += f.weight * f.offset;
    }
    for (const Filter& f : filters_)
        variance_ += f.weight * (f.oo + square(f.offset - offset_));
}

Hertz PitchTracker::pitch() const { return Hertz{base_ + offset_}; }
Hertz PitchTracker::spread() const { return Hertz{std::sqrt(variance_)}; }
// What 68 % of the mixture lies within, or half of what 95 % does: a filter of little weight and
// wide spread must not widen it, nor be forgotten.
Hertz PitchTracker::sd(Seconds later) const {
    constexpr double kNegligible = 1e-4;
    constexpr int kHalvings = 12;
    const double cent = hertz_a_cent(base_);
    const auto reach = [&](double share) {
        double low = 0.0;
        double high = 6.0 * std::sqrt(variance_ + square(kWander.back() * cent) * later.count());
        for (int halving = 0; halving < kHalvings; ++halving) {
            const double middle = 0.5 * (low + high);
            double inside = 0.0;
            double weights = 0.0;
            for (std::size_t i = 0; i < kFilters; ++i) {
                const Filter& f = filters_[i];
                if (f.weight < kNegligible) continue;
                const double wander = square(kWander[i / kNoises] * cent) * later.count();
                const double spread = std::sqrt(2.0 * (f.oo + wander));
                const double miss = f.offset - offset_;
                inside += 0.5 * f.weight *
                          (std::erf((middle - miss) / spread) + std::erf((middle + miss) / spread));
                weights += f.weight;
            }
            (inside < share * weights ? low : high) = middle;
        }
        return high;
    };
    return Hertz{std::max(reach(0.683), 0.5 * reach(0.954))};
}

// A filter of wander q and phase noise of density R settles within 2√2 (R / q²)^¼ seconds; never
// more than was heard.
Seconds PitchTracker::memory() const {
    const double cent = hertz_a_cent(base_);
    double sum = 0.0;
    for (std::size_t i = 0; i < kFilters; ++i) {
        const double wander = kWander[i / kNoises] * cent;
        const double density = noise_density_ * kNoise[i % kNoises];
        const double settled =
            wander > 0.0 ? 2.83 * std::sqrt(std::sqrt(density) / wander) : heard_;
        sum += filters_[i].weight * std::min(heard_, settled);
    }
    return Seconds{sum};
}

}  // namespace rankwright::listening

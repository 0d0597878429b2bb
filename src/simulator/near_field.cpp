#include "simulator/near_field.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::simulator {

namespace {

using std::numbers::pi;
using Complex = std::complex<double>;

/// 2λ/ω. Widening begins where the difference is this over sqrt(cot²(kd) − 1): at 1 % for kd = 30°.
constexpr double kReturn = 0.0141;
/// While a pipe speaks or dies, its neighbour drives it so many times harder at most.
constexpr double kMostImbalance = 3.0;
/// Largest turn or return of a swing in one step of the integration.
constexpr double kFinest = 0.25;

}  // namespace

void NearField::join(const Meeting& meeting) {
    const double relative = std::exp2(meeting.half_width.value() / 1200.0) - 1.0;
    const double g = std::clamp(meeting.balance, 1.0 / kMostImbalance, kMostImbalance);
    // By phase alone ψ' = Δω + κ[sin(χ − ψ)/g − g·sin(χ + ψ)], which has a rest up to
    // |Δω| = κ·hypot(cos χ·(1/g + g), sin χ·(1/g − g)).
    const double angle = -(0.5 * pi + meeting.delay);
    const double reach =
        std::hypot(std::cos(angle) * (1.0 / g + g), std::sin(angle) * (1.0 / g - g));
    const double rate = 2.0 * pi * meeting.hz * relative / reach;
    bonds_.push_back({meeting.first, meeting.second, std::polar(rate, angle), g});
}

void NearField::part(std::size_t pipe) {
    std::erase_if(bonds_, [&](const Bond& b) { return b.first == pipe || b.second == pipe; });
}

void NearField::lay_pulls(std::span<const Swing> swings, Motion& motion) const {
    for (const Bond& bond : bonds_) {
        if (motion.pull_count + 2 > motion.pulls.size()) return;
        const auto find = [&](std::size_t pipe) {
            return std::find_if(swings.begin(), swings.end(),
                                [pipe](const Swing& s) { return s.pipe == pipe; });
        };
        const auto a = find(bond.first);
        const auto b = find(bond.second);
        if (a == swings.end() || b == swings.end() || a->force <= 0.0 || b->force <= 0.0) continue;
        const double g = std::clamp(a->force / b->force, 1.0 / kMostImbalance, kMostImbalance);
        const auto i = static_cast<std::size_t>(a - swings.begin());
        const auto k = static_cast<std::size_t>(b - swings.begin());
        const double lead = 2.0 * pi * (b->hz - a->hz);
        motion.pulls[motion.pull_count++] = {i, k, bond.pull / g, lead};
        motion.pulls[motion.pull_count++] = {k, i, bond.pull * g, -lead};
    }
}

void NearField::Motion::slope(const State& from, double time_s, State& change) const {
    for (std::size_t i = 0; i < count; ++i)
        change[i] = 0.5 * returns[i] * (1.0 - std::norm(from[i])) * from[i];
    for (std::size_t p = 0; p < pull_count; ++p) {
        const Pull& pull = pulls[p];
        change[pull.on] += pull.rate * std::polar(1.0, pull.turn * time_s) * from[pull.by];
    }
}

// Runge and Kutta's method of fourth order.
void NearField::Motion::advance(double from_s, double by_s) {
    const auto along = [this](const State& slope_there, double time) {
        State to = at;
        for (std::size_t i = 0; i < count; ++i)
            to[i] += time * slope_there[i];
        return to;
    };
    State k1{}, k2{}, k3{}, k4{};
    slope(at, from_s, k1);
    slope(along(k1, 0.5 * by_s), from_s + 0.5 * by_s, k2);
    slope(along(k2, 0.5 * by_s), from_s + 0.5 * by_s, k3);
    slope(along(k3, by_s), from_s + by_s, k4);
    for (std::size_t i = 0; i < count; ++i)
        at[i] += by_s / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]);
}

void NearField::step(std::span<Swing> swings, double seconds) const {
    Motion motion;
    motion.count = std::min(swings.size(), kMost);
    lay_pulls(swings.first(motion.count), motion);
    double fastest = 0.0;
    for (std::size_t i = 0; i < motion.count; ++i) {
        motion.returns[i] = kReturn * 2.0 * pi * swings[i].hz;
        motion.at[i] = std::polar(swings[i].strength, swings[i].radians);
        fastest = std::max(fastest, motion.returns[i]);
    }
    for (std::size_t p = 0; p < motion.pull_count; ++p)
        fastest = std::max(fastest, std::abs(motion.pulls[p].turn));
    const Motion::State before = motion.at;
    const int parts = std::max(1, static_cast<int>(std::ceil(fastest * seconds / kFinest)));
    const double part_s = seconds / parts;
    for (int part = 0; part < parts; ++part)
        motion.advance(part * part_s, part_s);
    for (std::size_t i = 0; i < motion.count; ++i) {
        swings[i].hz += std::arg(motion.at[i] * std::conj(before[i])) / (2.0 * pi * seconds);
        swings[i].strength = std::abs(motion.at[i]);
    }
}

}  // namespace rankwright::simulator

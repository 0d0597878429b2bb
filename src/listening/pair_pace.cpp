#include "listening/pair_pace.h"

namespace rankwright::listening {

namespace {

constexpr double kOver_s = 2.2;
constexpr double kSeen_s = 0.9;

}  // namespace

void PairPace::add(Seconds at, double beat_hz) {
    if (paces_.size() == kMost) paces_.erase(paces_.begin());
    paces_.push_back({at.count(), beat_hz});
}

std::optional<double> PairPace::drift() const {
    if (paces_.empty()) return std::nullopt;
    const double newest = paces_.back().at_s;
    double count = 0.0, at = 0.0, beat = 0.0;
    for (const Pace& p : paces_)
        if (newest - p.at_s < kOver_s) {
            count += 1.0;
            at += p.at_s;
            beat += p.beat;
        }
    double up = 0.0, down = 0.0;
    for (const Pace& p : paces_)
        if (newest - p.at_s < kOver_s) {
            up += (p.at_s - at / count) * (p.beat - beat / count);
            down += (p.at_s - at / count) * (p.at_s - at / count);
        }
    if (newest - paces_.front().at_s < kSeen_s || down <= 0.0) return std::nullopt;
    return up / down;
}

}  // namespace rankwright::listening

#include "tuning/reference_pitch.h"

#include "tuning/drawing.h"

#include <algorithm>
#include <cmath>

namespace rankwright::tuning {

namespace {
constexpr Seconds kHeardAlone{1.5};  // common practice, no source: before the pipe is drawn to it
double weight(Cents uncertainty) { return 1.0 / (uncertainty.value() * uncertainty.value()); }
}  // namespace

void ReferencePitch::hear(int sounding, Hertz pitch, Cents uncertainty) {
    const Cents wander = usual_stray(pitch, kHeardAlone);
    withdraw(sounding);
    add({sounding, pitch, Cents{std::hypot(uncertainty.value(), wander.value())}});
}

void ReferencePitch::add(const Sounding& heard) {
    if (count_ == kMost) {
        std::move(soundings_.begin() + 1, soundings_.end(), soundings_.begin());
        --count_;
    }
    soundings_[count_++] = heard;
}

void ReferencePitch::after(const ReferencePitch& earlier) {
    // Not crowded out by many of one time, which may all have been read badly in the same way.
    constexpr std::size_t kEach = kMost / 2;
    const ReferencePitch own = *this;
    count_ = 0;
    for (const ReferencePitch* one : {&earlier, &own})
        for (std::size_t i = one->count_ > kEach ? one->count_ - kEach : 0; i < one->count_; ++i)
            add(one->soundings_[i]);
}

void ReferencePitch::withdraw(int sounding) {
    if (heard_in(sounding)) --count_;
}

std::optional<Hertz> ReferencePitch::pitch() const {
    if (count_ == 0) return std::nullopt;
    const Hertz first = soundings_[0].pitch;
    double sum = 0.0, weights = 0.0;
    for (std::size_t i = 0; i < count_; ++i) {
        const double one = weight(soundings_[i].uncertainty);
        sum += one * interval(first, soundings_[i].pitch).value();
        weights += one;
    }
    return transpose(first, Cents{sum / weights});
}

std::optional<Cents> ReferencePitch::uncertainty() const {
    if (count_ == 0) return std::nullopt;
    const Hertz here = *pitch();
    double weights = 0.0, squares = 0.0;
    for (std::size_t i = 0; i < count_; ++i) {
        const double one = weight(soundings_[i].uncertainty);
        weights += one;
        squares += one * std::pow(interval(here, soundings_[i].pitch).value(), 2);
    }
    // R. T. Birge, Physical Review 40 (1932), p. 207: what disagrees by more than it claims.
    const double degrees = std::max(1.0, static_cast<double>(count_) - 1.0);
    return Cents{std::sqrt(std::max(1.0, squares / degrees) / weights)};
}

}  // namespace rankwright::tuning

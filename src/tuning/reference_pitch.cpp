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
    const ReferencePitch own = *this;
    *this = earlier;
    for (std::size_t i = 0; i < own.count_; ++i)
        add(own.soundings_[i]);
}

void ReferencePitch::withdraw(int sounding) {
    if (count_ != 0 && soundings_[count_ - 1].number == sounding) --count_;
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
    double weights = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        weights += weight(soundings_[i].uncertainty);
    return Cents{1.0 / std::sqrt(weights)};
}

}  // namespace rankwright::tuning

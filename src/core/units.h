// Physical quantities as types, so that cents never add to hertz.
#pragma once

#include <chrono>
#include <cmath>
#include <compare>
#include <cstdint>

namespace rankwright {

/// A double with a unit. Same-unit sums, differences and ratios; scaling by plain numbers.
template <typename Self>
class Quantity {
  public:
    constexpr Quantity() = default;
    constexpr explicit Quantity(double value) : value_(value) {}
    constexpr double value() const { return value_; }

    friend constexpr auto operator<=>(const Quantity&, const Quantity&) = default;
    friend constexpr bool operator==(const Quantity&, const Quantity&) = default;
    friend constexpr Self operator+(Self a, Self b) { return Self{a.value() + b.value()}; }
    friend constexpr Self operator-(Self a, Self b) { return Self{a.value() - b.value()}; }
    friend constexpr Self operator-(Self a) { return Self{-a.value()}; }
    friend constexpr Self operator*(Self a, double k) { return Self{a.value() * k}; }
    friend constexpr Self operator*(double k, Self a) { return Self{a.value() * k}; }
    friend constexpr Self operator/(Self a, double k) { return Self{a.value() / k}; }
    friend constexpr double operator/(Self a, Self b) { return a.value() / b.value(); }
    constexpr Self& operator+=(Self b) { return self(value_ + b.value()); }
    constexpr Self& operator-=(Self b) { return self(value_ - b.value()); }

  private:
    constexpr Self& self(double value) {
        value_ = value;
        return static_cast<Self&>(*this);
    }
    double value_ = 0.0;
};

/// Frequency; a beat rate may be negative (the tuned pipe is flat of its reference).
class Hertz : public Quantity<Hertz> {
    using Quantity::Quantity;
};
/// Pitch interval, positive = sharp. 1200 to the octave.
class Cents : public Quantity<Cents> {
    using Quantity::Quantity;
};
/// Air temperature.
class Celsius : public Quantity<Celsius> {
    using Quantity::Quantity;
};
/// Length or movement along a pipe.
class Millimetres : public Quantity<Millimetres> {
    using Quantity::Quantity;
};
/// Samples a second as the device's clock really runs, so not always a whole number.
class SampleRate : public Quantity<SampleRate> {
    using Quantity::Quantity;
};
/// Level relative to a stated reference (full scale unless said otherwise).
class Decibels : public Quantity<Decibels> {
    using Quantity::Quantity;
};

using Seconds = std::chrono::duration<double>;

/// Position in a stream, counted in frames (one sample of every channel) since it was opened.
struct FrameIndex {
    std::int64_t value = 0;
    friend constexpr auto operator<=>(FrameIndex, FrameIndex) = default;
    friend constexpr FrameIndex operator+(FrameIndex a, std::int64_t frames) {
        return {a.value + frames};
    }
    friend constexpr std::int64_t operator-(FrameIndex a, FrameIndex b) {
        return a.value - b.value;
    }
};

/// The time that `frames` take at `rate`. Requires rate > 0.
constexpr Seconds duration(std::int64_t frames, SampleRate rate) {
    return Seconds{static_cast<double>(frames) / rate.value()};
}

/// Interval from one frequency to another: 1200 log2(to / from) (Ellis 1885). Requires both > 0.
inline Cents interval(Hertz from, Hertz to) { return Cents{1200.0 * std::log2(to / from)}; }

/// How far two frequencies lie apart, whichever is the higher. Requires both > 0.
inline Cents apart(Hertz a, Hertz b) { return Cents{std::abs(interval(a, b).value())}; }

/// The frequency `by` above (or, negative, below) `f`.
inline Hertz transpose(Hertz f, Cents by) { return f * std::exp2(by.value() / 1200.0); }

namespace literals {
constexpr Hertz operator""_Hz(long double v) { return Hertz{static_cast<double>(v)}; }
constexpr Hertz operator""_Hz(unsigned long long v) { return Hertz{static_cast<double>(v)}; }
constexpr Cents operator""_cents(long double v) { return Cents{static_cast<double>(v)}; }
constexpr Cents operator""_cents(unsigned long long v) { return Cents{static_cast<double>(v)}; }
constexpr Celsius operator""_degC(long double v) { return Celsius{static_cast<double>(v)}; }
constexpr Celsius operator""_degC(unsigned long long v) { return Celsius{static_cast<double>(v)}; }
constexpr Millimetres operator""_mm(long double v) { return Millimetres{static_cast<double>(v)}; }
constexpr Seconds operator""_s(long double v) { return Seconds{static_cast<double>(v)}; }
constexpr Seconds operator""_s(unsigned long long v) { return Seconds{static_cast<double>(v)}; }
}  // namespace literals

}  // namespace rankwright

// Chance that is the same on every machine: the standard library's distributions aren't.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <string_view>

namespace rankwright::simulator {

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014). Each source of sound owns one, named, so that
/// what one source draws never changes what another does.
class Random {
  public:
    /// A stream of its own for each `seed` and `name` (joined by FNV-1a).
    Random(std::uint64_t seed, std::string_view name) : state_(14695981039346656037ULL ^ seed) {
        for (const char c : name) {
            state_ = (state_ ^ static_cast<unsigned char>(c)) * 1099511628211ULL;
        }
        next();
    }
    std::uint64_t next() {
        std::uint64_t z = (state_ += 0x9E3779B97F4A7C15ULL);
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
        return z ^ (z >> 31);
    }
    /// Evenly spread over low..high.
    double uniform(double low = 0.0, double high = 1.0) {
        return low + (high - low) * static_cast<double>(next() >> 11) * 0x1.0p-53;
    }
    /// Gaussian, mean 0, variance 1 (Box and Muller 1958).
    double normal() {
        const double radius = std::sqrt(-2.0 * std::log(1.0 - uniform()));
        return radius * std::cos(2.0 * std::numbers::pi * uniform());
    }
    /// Nearly Gaussian, mean 0, variance 1, cheap enough for every sample: four 16-bit draws added.
    float noise() {
        const std::uint64_t z = next();
        const auto sum = static_cast<std::int32_t>((z & 0xFFFF) + ((z >> 16) & 0xFFFF) +
                                                   ((z >> 32) & 0xFFFF) + (z >> 48));
        constexpr float kScale = 1.7320508F / 65536.0F;  // each draw's variance is 1/12
        return static_cast<float>(sum - 131070) * kScale;
    }

  private:
    std::uint64_t state_;
};

/// A value that strays from 0 and returns (Ornstein and Uhlenbeck 1930): 1/f² above 1/(2π memory).
class Stray {
  public:
    /// `spread` is the long-run standard deviation, `memory_s` the correlation time, `step_s` the
    /// time between calls of `next`. Starts at a random place of its distribution.
    Stray(double spread, double memory_s, double step_s, Random& random)
        : keep_(std::exp(-step_s / memory_s)),
          kick_(spread * std::sqrt(1.0 - keep_ * keep_)),
          value_(spread * random.normal()) {}
    double next(Random& random) {
        value_ = keep_ * value_ + kick_ * static_cast<double>(random.noise());
        return value_;
    }

  private:
    double keep_;
    double kick_;
    double value_;
};

}  // namespace rankwright::simulator

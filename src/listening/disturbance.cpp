#include "listening/disturbance.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <utility>

namespace rankwright::listening {

namespace {

/// Over this long the unrest is averaged: shorter than a knock rings.
constexpr Seconds kFrame{0.015};
/// Unrest of a disturbance, and of its beginning and end beside it. Steady noise stays under 3;
/// the pipes measured (open recordings of a principal and a trumpet) under 7.
constexpr double kDisturbed = 16.0;
constexpr double kBeside = 4.0;
/// Power over the median's: what stands that far out drowns a pipe.
constexpr double kDrowned = 5.0;
/// Of a block's samples at the limit: fewer hardly bend the wave.
constexpr double kCutOff = 0.02;

/// The lowest and the highest value, which a converter that is overloaded gives again and again.
struct Limits {
    float low = 0.0F;
    float high = 0.0F;
    bool met = false;

    explicit Limits(std::span<const float> samples) {
        for (const float x : samples) {
            high = std::max(high, x);
            low = std::min(low, x);
        }
        // Unclipped sound hardly ever meets its peak twice in a row, unless it comes in steps so
        // coarse that it meets the next step as well.
        constexpr int kChance = 4;
        constexpr std::size_t kOverNext = 4;
        int runs = 0;
        bool before = false;
        Limits next;
        for (const float x : samples) {
            const bool here = reached(x);
            runs += here && before ? 1 : 0;
            before = here;
            if (x < high) next.high = std::max(next.high, x);
            if (x > low) next.low = std::min(next.low, x);
        }
        met = runs >= kChance && count(samples) > kOverNext * next.count(samples);
    }
    bool reached(float x) const { return (x == high && high > 0.0F) || (x == low && low < 0.0F); }
    std::size_t count(std::span<const float> samples) const {
        return static_cast<std::size_t>(
            std::count_if(samples.begin(), samples.end(), [this](float x) { return reached(x); }));
    }
    double share(std::span<const float> samples) const {
        if (!met || samples.empty()) return 0.0;
        return static_cast<double>(count(samples)) / static_cast<double>(samples.size());
    }

  private:
    Limits() = default;
};

/// The mean over kFrame about each block.
std::vector<double> smoothed(std::span<const double> unrest, std::size_t block, SampleRate rate) {
    const auto half =
        static_cast<std::size_t>(0.5 * kFrame.count() * rate.value() / static_cast<double>(block));
    std::vector<double> mean(unrest.size());
    for (std::size_t b = 0; b < unrest.size(); ++b) {
        const std::size_t from = b - std::min(b, half);
        const std::size_t to = std::min(unrest.size(), b + half + 1);
        double sum = 0.0;
        for (std::size_t i = from; i < to; ++i)
            sum += unrest[i];
        mean[b] = sum / static_cast<double>(to - from);
    }
    return mean;
}

/// Empty when nothing or at least half is left out.
std::vector<std::uint8_t> unless_too_much(std::vector<std::uint8_t> heard) {
    const auto left_out = std::count(heard.begin(), heard.end(), std::uint8_t{0});
    if (left_out == 0 || 2 * static_cast<std::size_t>(left_out) >= heard.size()) return {};
    return heard;
}

std::vector<std::uint8_t> undrowned(const std::vector<double>& power) {
    if (power.empty()) return {};
    std::vector<double> sorted = power;
    const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
    std::nth_element(sorted.begin(), middle, sorted.end());
    std::vector<std::uint8_t> heard(power.size());
    for (std::size_t i = 0; i < power.size(); ++i)
        heard[i] = power[i] > kDrowned * *middle ? 0 : 1;
    return unless_too_much(std::move(heard));
}

}  // namespace

double clipped_share(std::span<const float> samples) { return Limits(samples).share(samples); }

std::vector<std::uint8_t> undisturbed_blocks(std::span<const double> unrest,
                                             std::span<const float> samples, std::size_t block,
                                             SampleRate rate) {
    const std::vector<double> size = smoothed(unrest, block, rate);
    std::vector<std::uint8_t> heard(size.size(), 1);
    const Limits limits(samples);
    for (std::size_t b = 0; b < size.size(); ++b) {
        if (limits.met && limits.share(samples.subspan(b * block, block)) > kCutOff) heard[b] = 0;
        if (size[b] < kDisturbed) continue;
        for (std::size_t i = b; i < size.size() && size[i] > kBeside; ++i)
            heard[i] = 0;
        for (std::size_t i = b; i-- > 0 && size[i] > kBeside;)
            heard[i] = 0;
    }
    return unless_too_much(std::move(heard));
}

std::vector<std::uint8_t> undrowned_blocks(std::span<const float> energy, std::size_t block,
                                           SampleRate rate) {
    const std::vector<double> power(energy.begin(), energy.end());
    return undrowned(smoothed(power, block, rate));
}

std::span<const float> undrowned_stretch(std::span<const float> samples, SampleRate rate,
                                         Seconds period) {
    const auto frame =
        static_cast<std::size_t>(std::max(kFrame, period).count() * rate.value()) + 1;
    std::vector<double> power;
    for (std::size_t first = 0; first + frame <= samples.size(); first += frame)
        power.push_back(energy(samples.subspan(first, frame)));
    const std::vector<std::uint8_t> heard = undrowned(power);
    std::size_t best = 0;
    std::size_t best_count = 0;
    for (std::size_t i = 0, count = 0; i < heard.size(); ++i) {
        count = heard[i] != 0 ? count + 1 : 0;
        if (count > best_count) {
            best_count = count;
            best = i + 1 - count;
        }
    }
    if (3 * best_count < heard.size() || heard.empty()) return samples;
    return samples.subspan(best * frame, best_count * frame);
}

}  // namespace rankwright::listening

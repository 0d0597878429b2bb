#include "listening/tone_removal.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace rankwright::listening {

namespace {

/// The moving mean of x over `width` frames about each, shorter at the ends.
std::vector<std::complex<double>> smoothed(const std::vector<std::complex<double>>& x,
                                           std::size_t width) {
    std::vector<std::complex<double>> sums(x.size() + 1);
    for (std::size_t i = 0; i < x.size(); ++i)
        sums[i + 1] = sums[i] + x[i];
    std::vector<std::complex<double>> out(x.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        const std::size_t first = i - std::min(i, width / 2);
        const std::size_t last = std::min(x.size(), i + width / 2 + 1);
        out[i] = (sums[last] - sums[first]) / static_cast<double>(last - first);
    }
    return out;
}

/// Subtracts the lines from `piece`; `into` is where its frames from `margin` on go.
void remove_from(std::span<const float> piece, std::size_t margin, std::span<float> into,
                 std::span<const Hertz> lines, SampleRate rate) {
    std::vector<std::complex<double>> shifted(piece.size());
    for (const Hertz line : lines) {
        const std::complex<double> step =
            std::polar(1.0, -2.0 * std::numbers::pi * line.value() / rate.value());
        std::complex<double> turn = 1.0;
        for (std::size_t i = 0; i < piece.size(); ++i, turn *= step)
            shifted[i] = turn * static_cast<double>(piece[i]);
        // Of these means the second null lies at the end of the line's reach.
        const auto width = static_cast<std::size_t>(2.0 * rate.value() / line_reach(line).value());
        // Twice smoothed: a triangle, which lets little else through.
        const auto standing = smoothed(smoothed(shifted, width), width);
        turn = std::pow(step, static_cast<double>(margin));
        for (std::size_t i = 0; i < into.size(); ++i, turn *= step)
            into[i] -= static_cast<float>(2.0 * (standing[margin + i] * std::conj(turn)).real());
    }
}

}  // namespace

void remove_lines(std::span<float> samples, SampleRate rate, std::span<const Hertz> lines) {
    constexpr Seconds kMargin{1.0};
    constexpr Seconds kAtOnce{8.0};
    const auto margin = static_cast<std::size_t>(kMargin.count() * rate.value());
    const auto at_once = static_cast<std::size_t>(kAtOnce.count() * rate.value());
    const std::vector<float> whole(samples.begin(), samples.end());
    for (std::size_t first = 0; first < whole.size(); first += at_once) {
        const std::size_t before = std::min(first, margin);
        const std::size_t count = std::min(at_once, whole.size() - first);
        const std::size_t end = std::min(whole.size(), first + count + margin);
        const std::span<const float> piece(whole.data() + first - before, end - first + before);
        remove_from(piece, before, samples.subspan(first, count), lines, rate);
    }
}

}  // namespace rankwright::listening

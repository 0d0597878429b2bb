#include "listening/coarse_pitch.h"
#include "listening/measure.h"
#include "listening/partial_bank.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr int kPartials = 8;
constexpr double kFrameSeconds = 0.06;
constexpr double kShortestSeconds = 0.25;
/// A standing pipe keeps its level to a few decibels; speech, release and reverberation don't.
constexpr double kLeastPower = 0.4;
/// Real pipes wander by less; speech and a moving sleeve by more.
constexpr double kWidestCents = 6.0;

/// Level and pitch of the tone in one stretch of a few blocks.
struct Frame {
    double power = 0.0;
    double cents = 0.0;  // from the bank's pitch
};

Frame look(const PartialBank& bank, std::size_t first, std::size_t count) {
    Frame frame;
    double turned = 0.0;
    double weights = 0.0;
    // Phase gained over half the stretch: as long as the note is right within a third of a semitone
    // it can't have gone round, and noise counts for least.
    const std::size_t lag = std::max<std::size_t>(1, count / 8);
    for (int k = 1; k <= bank.partials(); ++k) {
        const auto z = bank.series(k).subspan(first, count);
        std::complex<double> product{};
        double power = 0.0;
        for (std::size_t b = 0; b + lag < count; ++b)
            product += std::complex<double>(z[b + lag]) * std::conj(std::complex<double>(z[b]));
        for (const auto& value : z)
            power += static_cast<double>(std::norm(value));
        frame.power += power;
        const double weight = std::abs(product);
        turned += weight * k * std::arg(product);
        weights += weight * k * k;
    }
    if (weights > 0.0) {
        const double seconds = static_cast<double>(lag * bank.block_frames()) / bank.rate().value();
        const Hertz offset{turned / weights / (2.0 * std::numbers::pi * seconds)};
        frame.cents = interval(bank.pitch(), bank.pitch() + offset).value();
    }
    return frame;
}

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace

std::optional<SteadySpan> find_steady(std::span<const float> samples, SampleRate rate,
                                      std::optional<Hertz> near) {
    const std::optional<Hertz> pitch = find_pitch(samples, rate, near);
    if (!pitch) return {};
    const std::size_t block = whole_period_block(rate, *pitch, PartialBank::kBlock);
    PartialBank bank(rate, kPartials, samples.size() / block + 1);
    bank.tune(*pitch, kPartials, block);
    bank.process(FrameIndex{0}, samples);
    const auto blocks = std::max<std::size_t>(
        4, static_cast<std::size_t>(kFrameSeconds * rate.value() / static_cast<double>(block)));
    std::vector<Frame> frames;
    for (std::size_t b = 0; b + blocks <= bank.blocks(); b += blocks)
        frames.push_back(look(bank, b, blocks));
    if (frames.empty()) return {};

    double loudest = 0.0;
    for (const Frame& frame : frames)
        loudest = std::max(loudest, frame.power);
    if (loudest <= 0.0) return {};
    std::vector<double> powers;
    for (const Frame& frame : frames)
        if (frame.power > 0.1 * loudest) powers.push_back(frame.power);
    const double usual = median(powers);
    std::vector<double> pitches;
    for (const Frame& frame : frames)
        if (frame.power > kLeastPower * usual) pitches.push_back(frame.cents);
    const double middle = median(pitches);
    std::vector<double> spread;
    for (const double cents : pitches)
        spread.push_back(std::abs(cents - middle));
    // In noise a short stretch's pitch is uncertain by itself.
    const double widest = std::max(kWidestCents, 6.0 * median(spread));

    SteadySpan best;
    std::size_t began = 0;
    for (std::size_t i = 0; i <= frames.size(); ++i) {
        const bool stands = i < frames.size() && frames[i].power > kLeastPower * usual &&
                            frames[i].power < usual / kLeastPower &&
                            std::abs(frames[i].cents - middle) < widest;
        if (stands) continue;
        const std::size_t count = (i - began) * blocks * block;
        if (count > best.count) best = {began * blocks * block, count};
        began = i + 1;
    }
    if (static_cast<double>(best.count) < kShortestSeconds * rate.value()) return {};
    return best;
}

}  // namespace rankwright::listening

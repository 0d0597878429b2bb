#include "listening/sound_history.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

constexpr double kThinAbove_hz = 64000.0;
constexpr double kThinMoreAbove_hz = 128000.0;
constexpr std::size_t kTapsPerStep = 32;

// Low-pass for thinning: a sinc that ends at 0.42 of the new rate under a Blackman window.
std::vector<float> thinning_taps(int thinning) {
    const std::size_t count = kTapsPerStep * static_cast<std::size_t>(thinning);
    const double cut = 0.42 / thinning;
    std::vector<float> taps(count);
    double sum = 0.0;
    for (std::size_t i = 0; i < count; ++i) {
        const double x = static_cast<double>(i) - 0.5 * static_cast<double>(count - 1);
        const double part =
            2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(count);
        const double blackman = 0.42 - 0.5 * std::cos(part) + 0.08 * std::cos(2.0 * part);
        const double angle = 2.0 * std::numbers::pi * cut * x;
        taps[i] = static_cast<float>(blackman * (x == 0.0 ? 1.0 : std::sin(angle) / angle));
        sum += static_cast<double>(taps[i]);
    }
    for (float& tap : taps)
        tap /= static_cast<float>(sum);
    return taps;
}

// Σ taps·x in eight running sums, so that vector registers serve without reordering any.
float product(const std::vector<float>& taps, const float* x) {
    std::array<float, 8> sums{};
    for (std::size_t t = 0; t + 8 <= taps.size(); t += 8)
        for (std::size_t lane = 0; lane < 8; ++lane)
            sums[lane] += taps[t + lane] * x[t + lane];
    float sum = 0.0F;
    for (const float lane : sums)
        sum += lane;
    return sum;
}

}  // namespace

SoundHistory::SoundHistory(SampleRate rate, int channels, Seconds kept)
    : rate_(rate), channels_(channels) {
    if (rate.value() > kThinMoreAbove_hz)
        thinning_ = 4;
    else if (rate.value() > kThinAbove_hz)
        thinning_ = 2;
    rate_ = SampleRate{rate.value() / thinning_};
    keep_ = static_cast<std::size_t>(kept.count() * rate_.value());
    sound_.resize(static_cast<std::size_t>(channels));
    for (auto& channel : sound_)
        channel.resize(2 * keep_);
    if (thinning_ > 1) {
        taps_ = thinning_taps(thinning_);
        delay_.resize(static_cast<std::size_t>(channels));
        for (auto& channel : delay_)
            channel.resize(2 * taps_.size());
    }
}

FrameIndex SoundHistory::begin() const {
    return end_ + -static_cast<std::int64_t>(std::min(size_, keep_));
}

std::span<const float> SoundHistory::between(int channel, FrameIndex from, FrameIndex to) const {
    assert(begin() <= from && from <= to && to <= end_);
    const auto& sound = sound_[static_cast<std::size_t>(channel)];
    const auto back = static_cast<std::size_t>(end_ - from);
    return std::span(sound).subspan(size_ - back, static_cast<std::size_t>(to - from));
}

std::span<const float> SoundHistory::newest(int channel, std::size_t count) const {
    if (count > std::min(size_, keep_)) return {};
    return between(channel, end_ + -static_cast<std::int64_t>(count), end_);
}

void SoundHistory::push(FrameIndex first, std::span<const float> interleaved) {
    const auto channels = static_cast<std::size_t>(channels_);
    const std::size_t frames = interleaved.size() / channels;
    if (!started_ || first != next_) {
        size_ = 0;
        end_ = FrameIndex{(first.value + thinning_ - 1) / thinning_};
        for (auto& channel : delay_)
            std::fill(channel.begin(), channel.end(), 0.0F);
        started_ = true;
    }
    next_ = first + static_cast<std::int64_t>(frames);
    for (std::size_t i = 0; i < frames; ++i) {
        const std::int64_t frame = first.value + static_cast<std::int64_t>(i);
        const float* samples = &interleaved[i * channels];
        if (thinning_ == 1) {
            make_room();
            for (std::size_t c = 0; c < channels; ++c)
                sound_[c][size_] = samples[c];
            ++size_;
            end_ = end_ + 1;
            continue;
        }
        const std::size_t count = taps_.size();
        for (std::size_t c = 0; c < channels; ++c)
            delay_[c][delay_at_] = delay_[c][delay_at_ + count] = samples[c];
        delay_at_ = (delay_at_ + 1) % count;
        if (frame % thinning_ != 0) continue;
        make_room();
        for (std::size_t c = 0; c < channels; ++c) {
            sound_[c][size_] = product(taps_, &delay_[c][delay_at_]);
        }
        ++size_;
        end_ = end_ + 1;
    }
}

void SoundHistory::make_room() {
    if (size_ < 2 * keep_) return;
    for (auto& channel : sound_)
        std::copy(channel.end() - static_cast<std::ptrdiff_t>(keep_), channel.end(),
                  channel.begin());
    size_ = keep_;
}

}  // namespace rankwright::listening

#include "listening/partial_bank.h"

#include "listening/arithmetic.h"
#include "listening/reading.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstring>

namespace rankwright::listening {

namespace {

// Above this share of the rate, converters' filters leave nothing worth hearing.
constexpr double kHighestOfBank = 0.48;
// Four sums side by side (compilers leave a plain loop of them scalar), twice: two chains of sums
// hide each other's latency.
constexpr std::size_t kBankLanes = 4;
using Lanes __attribute__((vector_size(kBankLanes * sizeof(float)))) = float;

Lanes lanes_at(const float* from) {
    Lanes lanes;
    std::memcpy(&lanes, from, sizeof lanes);
    return lanes;
}

float sum_of(const Lanes& lanes) { return lanes[0] + lanes[1] + lanes[2] + lanes[3]; }

/// Σ x·(cos, −sin) over `count` frames.
std::complex<float> correlate(const float* x, const float* cosine, const float* sine,
                              std::size_t count) {
    Lanes re[2] = {};
    Lanes im[2] = {};
    std::size_t i = 0;
    for (; i + 2 * kBankLanes <= count; i += 2 * kBankLanes) {
        const Lanes x0 = lanes_at(x + i);
        const Lanes x1 = lanes_at(x + i + kBankLanes);
        re[0] += x0 * lanes_at(cosine + i);
        im[0] += x0 * lanes_at(sine + i);
        re[1] += x1 * lanes_at(cosine + i + kBankLanes);
        im[1] += x1 * lanes_at(sine + i + kBankLanes);
    }
    float re_sum = sum_of(re[0] + re[1]);
    float im_sum = sum_of(im[0] + im[1]);
    for (; i < count; ++i) {
        re_sum += x[i] * cosine[i];
        im_sum += x[i] * sine[i];
    }
    return {re_sum, -im_sum};
}

}  // namespace

std::size_t whole_period_block(SampleRate rate, Hertz pitch, Seconds at_least) {
    const double period = rate.value() / pitch.value();
    const double fewest = std::max(1.0, std::ceil(at_least.count() * pitch.value()));
    double best_frames = std::round(fewest * period);
    double best_misfit = 1.0;
    // A little longer and nearly whole frames beats short and ragged.
    const double most = std::max(fewest, 2.0 * at_least.count() * pitch.value());
    for (double periods = fewest; periods <= most; periods += 1.0) {
        const double frames = periods * period;
        const double misfit = std::abs(frames - std::round(frames)) / frames;
        if (misfit < 0.5 * best_misfit) {
            best_misfit = misfit;
            best_frames = std::round(frames);
        }
    }
    return static_cast<std::size_t>(std::max(1.0, best_frames));
}

PartialBank::PartialBank(SampleRate rate, int most_partials, std::size_t most_blocks)
    : rate_(rate),
      most_partials_(std::clamp(most_partials, 1, static_cast<int>(kMostPartials))),
      most_blocks_(std::max<std::size_t>(most_blocks, 1)),
      room_(2 * most_blocks_) {
    const auto rows = static_cast<std::size_t>(most_partials_) + 1;
    cosines_.resize(rows * kRun);
    sines_.resize(rows * kRun);
    run_.resize(kRun);
    sums_.resize(rows);
    series_.resize(rows * room_);
    energy_.resize(room_);
}

void PartialBank::tune(Hertz pitch, int partials, std::size_t block_frames) {
    assert(pitch.value() > 0.0 && pitch.value() < kHighestOfBank * rate_.value());
    pitch_ = pitch;
    cycles_per_frame_ = pitch.value() / rate_.value();
    partials_ = std::clamp(static_cast<int>(kHighestOfBank / cycles_per_frame_), 1,
                           std::clamp(partials, 1, most_partials_));
    block_frames_ = block_frames > 0 ? block_frames : whole_period_block(rate_, pitch, kBlock);
    for (int k = 0; k <= partials_; ++k) {
        const auto row = static_cast<std::size_t>(k) * kRun;
        const std::complex<double> step = std::polar(1.0, kTurn * k * cycles_per_frame_);
        std::complex<double> phasor{1.0, 0.0};
        for (std::size_t i = 0; i < kRun; ++i) {
            cosines_[row + i] = static_cast<float>(phasor.real());
            sines_[row + i] = static_cast<float>(phasor.imag());
            phasor *= step;
        }
    }
    restart(next_);
}

void PartialBank::restart(FrameIndex first) {
    next_ = run_first_ = oldest_ = first;
    run_size_ = block_summed_ = 0;
    begin_ = end_ = 0;
    energy_sum_ = 0.0;
    std::fill(sums_.begin(), sums_.end(), std::complex<double>{});
}

void PartialBank::process(FrameIndex first, std::span<const float> samples) {
    assert(partials_ > 0);
    if (first != next_) restart(first);
    while (!samples.empty()) {
        const std::size_t run_length = std::min(kRun, block_frames_ - block_summed_);
        const std::size_t take = std::min(samples.size(), run_length - run_size_);
        std::copy_n(samples.begin(), take, run_.begin() + static_cast<std::ptrdiff_t>(run_size_));
        run_size_ += take;
        next_ = next_ + static_cast<std::int64_t>(take);
        samples = samples.subspan(take);
        if (run_size_ == run_length) finish_run();
    }
}

void PartialBank::finish_run() {
    // Whole cycles drop out in double before they can cost precision in a long stream.
    const double cycles = static_cast<double>(run_first_.value) * cycles_per_frame_;
    const double turn = cycles - std::floor(cycles);
    const std::complex<double> start = std::polar(1.0, -kTurn * turn);
    std::complex<double> phase{1.0, 0.0};
    for (int k = 0; k <= partials_; ++k) {
        const auto row = static_cast<std::size_t>(k);
        const std::complex<float> sum =
            correlate(run_.data(), &cosines_[row * kRun], &sines_[row * kRun], run_size_);
        sums_[row] += phase * std::complex<double>(sum);
        phase *= start;
    }
    float energy = 0.0F;
    for (std::size_t i = 0; i < run_size_; ++i)
        energy += run_[i] * run_[i];
    energy_sum_ += static_cast<double>(energy);
    block_summed_ += run_size_;
    run_first_ = run_first_ + static_cast<std::int64_t>(run_size_);
    run_size_ = 0;
    if (block_summed_ == block_frames_) finish_block();
}

void PartialBank::finish_block() {
    if (end_ == room_) {
        const std::size_t drop = end_ - most_blocks_ + 1;
        keep_newest(end_ - drop);
        const std::size_t kept = end_ - begin_;
        for (std::size_t k = 0; k <= static_cast<std::size_t>(partials_); ++k) {
            const auto row = series_.begin() + static_cast<std::ptrdiff_t>(k * room_);
            std::copy_n(row + static_cast<std::ptrdiff_t>(begin_), kept, row);
        }
        std::copy_n(energy_.begin() + static_cast<std::ptrdiff_t>(begin_), kept, energy_.begin());
        begin_ = 0;
        end_ = kept;
    }
    for (std::size_t k = 0; k <= static_cast<std::size_t>(partials_); ++k) {
        series_[k * room_ + end_] = std::complex<float>(sums_[k]);
        sums_[k] = {};
    }
    energy_[end_] = static_cast<float>(energy_sum_);
    energy_sum_ = 0.0;
    block_summed_ = 0;
    ++end_;
    keep_newest(most_blocks_);
}

void PartialBank::keep_newest(std::size_t count) {
    if (blocks() <= count) return;
    const std::size_t drop = blocks() - count;
    begin_ += drop;
    oldest_ = oldest_ + static_cast<std::int64_t>(drop * block_frames_);
}

FrameIndex PartialBank::block_first(std::size_t b) const {
    return oldest_ + static_cast<std::int64_t>(b * block_frames_);
}

std::span<const std::complex<float>> PartialBank::series(int k) const {
    assert(k >= 0 && k <= partials_);
    return {&series_[static_cast<std::size_t>(k) * room_ + begin_], blocks()};
}

std::span<const float> PartialBank::energy() const { return {energy_.data() + begin_, blocks()}; }

}  // namespace rankwright::listening

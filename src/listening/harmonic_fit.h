// One common pitch for all partials of a tone, by weighted least squares to convergence.
#pragma once

#include "listening/partial_bank.h"
#include "listening/reading.h"

#include <array>
#include <complex>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>

namespace rankwright::listening {

/// One partial as fitted.
struct FittedPartial {
    /// Half the amplitude, with its phase at the middle of the span.
    std::complex<double> phasor{};
    /// Variance of the noise in one block sum of this partial, from beside the partial.
    double noise = 0.0;
    /// Power over the noise's, over the whole span.
    double presence = 0.0;
    /// Weight of this partial in the common pitch: information on it, in 1/Hz².
    double information = 0.0;
};

/// What a span of a bank says about its tone.
struct HarmonicFit {
    Hertz pitch;         ///< mean over the span (the least-squares slope of its phase)
    Hertz sd;            ///< standard uncertainty of that mean
    FrameIndex from;     ///< first frame of the span
    FrameIndex to;       ///< one past its last
    Decibels snr;        ///< harmonic power over all other power, steady offset excluded
    double power = 0.0;  ///< harmonic power (a full-scale sine has 1/2)
    int count = 0;       ///< partials fitted: numbers 1 to count
    std::array<FittedPartial, kMostPartials + 1> partials{};  ///< [0]: steady offset

    double cents_sd() const { return interval(pitch, pitch + sd).value(); }
};

/// Fits x = Σ_k A_k cos(kωn + φ_k) to a span of a bank: the harmonic least-squares estimate, with
/// each partial weighted by the noise found beside it. What partials, their mirror images and the
/// steady offset leak into each other's block sums is part of the model, so that the answer is
/// exact down to a few periods. The bank may be tuned a few cents off.
class HarmonicFitter {
  public:
    /// Reserves room for spans of at most `most_blocks`; nothing after this allocates.
    HarmonicFitter(int most_partials, std::size_t most_blocks);
    ~HarmonicFitter();
    HarmonicFitter(HarmonicFitter&&) noexcept;
    HarmonicFitter& operator=(HarmonicFitter&&) noexcept;

    /// Fits blocks `first` to `first + count` of `bank`, of these only those whose entry in `only`
    /// isn't 0 (empty: all). Partials whose entry in `not_its_own`, by number, isn't 0 are fitted
    /// but tell nothing of the pitch: another tone sounds in their place. Empty when there are
    /// fewer than kFewestBlocks, or nothing but silence, or nothing tells of the pitch.
    std::optional<HarmonicFit> fit(const PartialBank& bank, std::size_t first, std::size_t count,
                                   std::span<const std::uint8_t> only = {},
                                   std::span<const std::uint8_t> not_its_own = {});

    /// How restless each block of the span last fitted is: the power of fast changes in the
    /// partials that the pitch rests on, over what is usual in the span (about 1 in steady noise).
    /// A knock, a word or an onset stands out. Blocks that were left out count as well.
    std::span<const double> unrest();

    static constexpr std::size_t kFewestBlocks = 8;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace rankwright::listening

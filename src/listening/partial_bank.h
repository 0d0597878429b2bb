// Demodulates the partials of one tone, in one pass: the raw material of every fine pitch.
#pragma once

#include "core/units.h"

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Block sums of x·e^{−jkωn} for the partials k = 0 (the steady offset) to `partials`, ω the tuned
/// pitch, n the absolute frame. A block lasts a whole number of periods as nearly as frames allow,
/// so that partials hardly leak into one another; `harmonic_fit` removes what is left. Works on a
/// whole recording or on a stream in pieces of any size: the pieces don't change the sums.
class PartialBank {
  public:
    /// Reserves room for `most_partials` (≤ kMostPartials) and the newest `most_blocks` blocks.
    /// Nothing after this allocates.
    PartialBank(SampleRate rate, int most_partials, std::size_t most_blocks);

    /// Forgets everything and demodulates from now on at the whole multiples of `pitch`. `partials`
    /// is cut to what fits below 0.48 of the rate. 0 for `block_frames`: whole_period_block of
    /// kBlock. Requires pitch > 0 and below 0.48 of the rate.
    void tune(Hertz pitch, int partials, std::size_t block_frames = 0);

    /// Takes the next frames. A jump in `first` forgets what was before it.
    void process(FrameIndex first, std::span<const float> samples);

    /// Forgets all blocks older than the newest `count`.
    void keep_newest(std::size_t count);

    SampleRate rate() const { return rate_; }
    Hertz pitch() const { return pitch_; }
    int partials() const { return partials_; }
    std::size_t block_frames() const { return block_frames_; }
    /// Complete blocks at hand.
    std::size_t blocks() const { return end_ - begin_; }
    /// First frame of block `b`; of `blocks()`: one past the last complete block.
    FrameIndex block_first(std::size_t b) const;
    /// The block sums of partial `k` (0 to partials()), oldest first, `blocks()` of them. A partial
    /// of amplitude A that stands exactly at kω gives sums of size A/2·block_frames().
    std::span<const std::complex<float>> series(int k) const;
    /// Σx² of every block.
    std::span<const float> energy() const;

    /// Default block: long against the periods of trebles, short against any wander or beat.
    static constexpr Seconds kBlock{0.0025};

  private:
    /// Samples are summed in float over this many frames, then in double.
    static constexpr std::size_t kRun = 256;

    void restart(FrameIndex first);
    void finish_run();
    void finish_block();

    SampleRate rate_;
    int most_partials_;
    std::size_t most_blocks_;
    std::size_t room_;  // blocks of storage: twice most_blocks_, so that moving is rare

    Hertz pitch_{0.0};
    double cycles_per_frame_ = 0.0;
    int partials_ = 0;
    std::size_t block_frames_ = 0;
    std::vector<float> cosines_, sines_;  // [k][kRun]

    FrameIndex next_;               // next frame expected
    FrameIndex run_first_;          // frame of run_[0]
    FrameIndex oldest_;             // first frame of block begin_
    std::vector<float> run_;        // frames waiting to be summed
    std::size_t run_size_ = 0;      // of them
    std::size_t block_summed_ = 0;  // frames of the open block already summed
    std::vector<std::complex<double>> sums_;
    double energy_sum_ = 0.0;

    std::vector<std::complex<float>> series_;  // [k][room_]
    std::vector<float> energy_;
    std::size_t begin_ = 0, end_ = 0;
};

/// The shortest block of whole periods of `pitch` not under `at_least`, in frames; of the next few
/// candidates the one that comes nearest to whole frames.
std::size_t whole_period_block(SampleRate rate, Hertz pitch, Seconds at_least);

}  // namespace rankwright::listening

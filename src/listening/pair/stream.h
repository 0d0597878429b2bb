// Bands around the partials of two pipes, cut from a stream as it comes.
#pragma once

#include "core/units.h"
#include "listening/pair/bands.h"
#include "listening/sound_history.h"

#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// A stretch of the stream that a knock, a voice or anything else hides.
struct HiddenSpan {
    FrameIndex from, to;
};

/// The reference alone, and the pipe that has joined it since.
struct HeardBefore {
    FrameIndex from, to;   ///< alone
    FrameIndex both_from;  ///< the pipe has spoken
};

/// Cuts the same bands as cut_band, output by output. Frames are those of the SoundHistory.
class PairStream {
  public:
    struct Line {
        PairLine line;
        double floor = 0.0;  ///< variance of a white sample as dense as the noise there
    };
    /// Keeps the newest `kept` of every band. `least_rate`: of outputs, a second.
    PairStream(SampleRate rate, Seconds kept, double least_rate);

    /// Begins with other lines, and cuts what is at hand from `from` on. Allocates.
    void begin(std::span<const Line> lines, const SoundHistory& sound, int channel,
               FrameIndex from);
    void stop() { cuts_.clear(); }
    bool active() const { return !cuts_.empty(); }
    std::size_t size() const { return cuts_.size(); }
    const PairLine& line(std::size_t b) const { return cuts_[b].line.line; }

    /// Takes what is new; after a gap it begins again there.
    void advance(const SoundHistory& sound);

    /// The bands over a span, t from its middle. Reuses what `bands` holds.
    void window(FrameIndex from, FrameIndex to, std::span<const HiddenSpan> hidden,
                std::vector<PairBand>& bands) const;
    /// Mean power of a band's outputs from `from` to `to`; empty where none is kept.
    std::optional<double> power(std::size_t b, FrameIndex from, FrameIndex to) const;
    /// The newest output of a band and the frame at its middle; false when there is none.
    bool newest(std::size_t b, std::complex<double>& z, FrameIndex& at) const;

  private:
    struct Cut {
        Line line;
        BandFilter filter;
        std::int64_t first = 0;  // z[0] is at frame first·step
        std::vector<std::complex<double>> z;
        std::size_t keep = 0;
    };

    SampleRate rate_;
    Seconds kept_;
    double least_rate_;
    int channel_ = 0;
    std::vector<Cut> cuts_;
};

}  // namespace rankwright::listening

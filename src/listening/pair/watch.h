// Whether anything sounds where a reference and a pipe are awaited, and what hides it.
#pragma once

#include "listening/hearing.h"
#include "listening/pair/stream.h"
#include "listening/sound_history.h"

#include <optional>
#include <vector>

namespace rankwright::listening {

/// Compares the power at the awaited partials with that between them, over some 60 ms (bass: a few
/// periods), on one channel. Allocates in expect() only.
class PairWatch {
  public:
    PairWatch(SampleRate rate, int channel);

    /// The reference's partial `m` meets the pipe's `n`.
    void expect(Hertz reference, int m, int n, const SoundHistory& sound);
    /// Takes what is new in `sound`.
    void advance(const SoundHistory& sound);

    /// What is heard now is usual from now on.
    void learn();
    /// The partials no longer have the powers they had: another tone joined them, or one ended.
    bool changed() const;
    /// Partials that only the pipe has stand out, and don't die away: it sounds. False where it has
    /// none of its own.
    bool pipe_sounds() const;
    /// They have hardly been more than the wind of a silent pipe for half a second. False where
    /// there are none.
    bool pipe_missing() const;
    /// There are such partials.
    bool pipe_has_own() const { return pipe_has_own_; }

    /// Tones stand out at the awaited places.
    bool present() const;
    /// Between the partials is suddenly far more than there was: a knock or a voice.
    bool hidden() const;
    double line_power() const { return line_power_; }
    double between_power() const { return between_power_; }
    /// Of the partials that only the pipe has, over some 60 ms.
    double own_power() const { return own_; }
    /// Of all that sounds about the first meeting, mean over a span of the last quarter second.
    std::optional<double> meeting_power(FrameIndex from, FrameIndex to) const;
    /// How long what hides is heard in the watch's own filters after it has passed.
    Seconds lag() const { return lag_; }
    /// Phasors of the first meetings.
    PartialFrame frame(FrameIndex now) const;

  private:
    struct Place {
        enum class Kind { line, between, meeting } kind;
        std::size_t stream = 0;  // which band
        bool pipe_only = false;
        double power = 0.0;  // smoothed
        double usual = 0.0;  // since learn()
        FrameIndex seen;
    };
    void smooth(Place& place);

    SampleRate rate_;
    int channel_;
    PairStream stream_;
    std::vector<Place> places_;
    double line_power_ = 0.0, between_power_ = 0.0, usual_between_ = 0.0;
    FrameIndex last_;
    Seconds lag_{0.05};
    Seconds heard_{0.0};
    bool all_seen_ = false;
    bool pipe_has_own_ = false;
    double off_ = 0.0;  // Σ|power − usual| of the lines
    double usual_line_ = 0.0;
    double own_ = 0.0;               // power of the pipe's own lines
    double own_between_ = 0.0;       // beside them
    double own_long_ = 0.0;          // over half a second
    double own_over_between_ = 0.0;  // ln of their ratio, over half a second
};

}  // namespace rankwright::listening

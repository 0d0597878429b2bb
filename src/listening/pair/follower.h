// Holds on to a reference and a pipe that sound: from a first search, then by a few steps from the
// last answer as more sound comes.
#pragma once

#include "listening/pair/fit.h"
#include "listening/pair/pair.h"
#include "listening/pair/search.h"
#include "listening/pair/stream.h"
#include "listening/reading.h"
#include "listening/sound_history.h"

#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// What is known of how many sound.
struct PairPremise {
    bool surely_two = false;  ///< however slowly they beat
    /// Otherwise: how much stronger than usual a second tone must be to be believed, in power.
    double times = 1.0;
    bool moving = false;  ///< looked for again and again: not so thoroughly
};

class PairFollower {
  public:
    PairFollower(SampleRate rate, Seconds longest);

    /// Where the next searches listen, from 0.
    void choose(int channel) { channel_ = channel; }
    /// Looks for both in `from` to `to` without knowing where the pipe is. False, and nothing is
    /// held, when nothing stands out there. `before`: while that is no more than kHearsBefore ago
    /// the two are heard from there on, since what the reference was alone, partial by partial,
    /// tells its share of what both are. Allocates.
    static constexpr Seconds kHearsBefore{9.0};
    bool search(const SoundHistory& sound, FrameIndex from, FrameIndex to,
                const PairRequest& request, const PairPremise& premise,
                const std::optional<HeardBefore>& before = std::nullopt);
    /// Goes on from the last answer. What is read are means from `read_from`, no earlier than
    /// `from`: what sounded before tells how the two share the sound. Requires active(). False when
    /// the span is too short, or nothing can be held on to.
    bool follow(FrameIndex from, FrameIndex read_from, FrameIndex to,
                std::span<const HiddenSpan> hidden);
    /// What is read of what was followed are means from `from` on. Requires two().
    void read(FrameIndex from);
    /// Takes what is new in the sound, without looking at it.
    void advance(const SoundHistory& sound) { stream_.advance(sound); }
    void stop();

    bool active() const { return !modes_.empty(); }
    /// More than one tone explains the sound clearly better than one.
    bool two() const { return two_; }
    /// Requires two().
    const BeatReading& reading() const { return reading_; }
    /// The weaker of the two isn't found yet: they are in tune, or not heard for long enough. The
    /// reading is no more than what their beat stays under. Requires two().
    bool weak() const { return weak_; }
    /// Two sound beyond doubt: the levels changed as one joined the other, or they beat for long
    /// enough. What merely explains the sound better than one tone may be a reference's unrest.
    bool surely_two() const;
    /// The reference's pitch over the span and its uncertainty; alone when not two().
    Hertz reference() const { return reference_; }
    Hertz reference_sd() const { return reference_sd_; }
    /// The beat over a part of the span, −0.5 to 0.5 of it, with its standard uncertainty.
    struct Part {
        double beat = 0.0, sd = 0.0;
    };
    Part part(double from, double to);
    /// When another tone set in beside the one that stood alone, as far as that tells. Allocates.
    std::optional<FrameIndex> onset(FrameIndex from, FrameIndex to,
                                    std::span<const HiddenSpan> hidden) const;
    /// How the reference's lines, what one tone is followed by, kept their power from `from` to
    /// `to`.
    struct Stood {
        /// Before it, in the span, there was hardly anything of it: it set in by then.
        std::optional<FrameIndex> set_in;
        bool falls = false;  ///< it dies away
    };
    Stood stood(FrameIndex from, FrameIndex to) const;
    /// The two are heard from before the pipe joined. Requires active().
    bool hears_joining() const { return hears_before(to_); }
    /// The reference alone, for the reading it is.
    PitchReading alone(FrameIndex from, FrameIndex to) const;

    /// By how much the reference's partials, where the pipe's meet them, are softer or louder than
    /// they were `alone`: root mean square. Empty when fewer than three are known. Requires two().
    std::optional<Decibels> off_level(const Partials& alone) const;
    /// Power of the first meeting's band, mean over a span of the newest sound.
    std::optional<double> meeting_power(FrameIndex from, FrameIndex to) const;

    /// What is heard now, against what the answer foretells.
    struct Foretold {
        double heard = 0.0;      ///< power of the newest sound
        double foretold = 0.0;   ///< power of the two as they should be
        double left = 0.0;       ///< of what neither explains
        double noise = 0.0;      ///< what is always left
        double strayed = 0.0;    ///< what wander since the answer may leave besides
        double power[2] = {};    ///< of each
        double usual[2] = {};    ///< of each over the span
        double without[2] = {};  ///< left when this one isn't there
    };
    Foretold foretold() const;

  private:
    static constexpr std::size_t kMostModes = 3;
    static constexpr int kFirstSteps = 8;  // of a mode that is new
    /// Cosines at most: of the paths, and of the gains.
    struct PairTerms {
        double path, gain;
    };
    static constexpr PairTerms kMostTogether{9.0, 4.0}, kMostFromBefore{18.0, 6.0};
    void set_model(FrameIndex from, FrameIndex to, const PairTerms& most);
    bool hears_before(FrameIndex to) const;
    std::optional<double> reference_power(FrameIndex from, FrameIndex to) const;
    bool stand_apart(const PairPlace& place) const;
    void hear_from_before(FrameIndex to, std::span<const PairPlace> places);
    void hear_window(FrameIndex from, FrameIndex read_from, FrameIndex to,
                     std::span<const HiddenSpan> hidden);
    void drop_same();
    void drop_unlikely();
    void answer();
    int highest_meeting() const;
    double turns_seen() const;
    double both_heard_s() const;
    bool restless() const;
    bool on_same_side() const;
    double turns_heard() const;
    PairPlace powers() const;
    void say_in_tune(Hertz under);
    bool pipe_has_own() const;
    void judge_number(const PairPlace& best, const PairPremise& premise);
    bool joining_shows(FrameIndex to) const;
    bool beats_whole(Hertz beat) const;
    void choose_bands(const PairPlan& plan, const std::vector<PairPlace>& places,
                      const SoundHistory& sound, FrameIndex from);

    SampleRate rate_;
    int channel_ = 0;
    PairStream stream_;
    PairRequest request_;
    std::vector<PairBand> bands_, alone_bands_;
    PairModel model_, alone_model_;
    FrameIndex from_, to_;
    PairFit fit_, alone_fit_;
    std::vector<PairState> modes_;  // best first
    PairState one_;
    std::vector<PairPlace> places_;
    std::optional<HeardBefore> before_;
    std::vector<HiddenSpan> hidden_;  // with the pipe's speech
    bool two_ = false, weak_ = false;
    bool joined_ = false;    // as was seen at the joining
    bool moved_ = false;     // less is read than was heard
    bool in_tune_ = false;   // the second tone is no more than the unrest of two in tune
    bool explains_ = false;  // the second tone explained what no unrest does when it was found
    double side_ = 0.0;      // of the reference, on which the pipe was told to be: 1, −1 or 0
    BeatReading reading_;
    Hertz reference_, reference_sd_;
};

}  // namespace rankwright::listening

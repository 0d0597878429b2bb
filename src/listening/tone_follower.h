// Follows one tone whose note is known, partial by partial, from its speech to its end.
#pragma once

#include "listening/coarse_pitch.h"
#include "listening/hop_leaks.h"
#include "listening/partial_bank.h"
#include "listening/pitch_tracker.h"
#include "listening/reading.h"
#include "listening/sound_history.h"

#include <complex>
#include <cstddef>
#include <vector>

namespace rankwright::listening {

/// Cuts the tone into hops of about 8 ms (bass: one period), takes each partial's phase, combines
/// them by their own noise and lets a PitchTracker follow. Hops that a knock, a voice or anything
/// else hides are left out. Allocates at construction only.
class ToneFollower {
  public:
    ToneFollower(SampleRate rate, int channels);

    /// Begins with the tone of about `pitch` that spoke at `onset` (no earlier than what is at
    /// hand) and catches up with the sound.
    void start(const SoundHistory& sound, Hertz pitch, FrameIndex onset);
    void stop() { active_ = false; }
    bool active() const { return active_; }
    /// Whether the rate holds such a pitch with room above it.
    bool can_follow(Hertz pitch) const;

    /// Takes what is new. After a gap it goes on with the pitch known and a new phase.
    void process(const SoundHistory& sound);

    FrameIndex onset() const { return onset_; }
    FrameIndex steady_from() const;  ///< where speech ended
    FrameIndex heard_to() const { return heard_to_; }
    std::size_t hops() const { return static_cast<std::size_t>(hop_count_); }
    std::size_t steady_hops() const { return static_cast<std::size_t>(hop_count_ - steady_); }
    Seconds hop() const { return hop_; }

    Hertz pitch() const { return tracker_.pitch(); }
    Cents sd() const { return sd_; }
    Seconds memory() const { return tracker_.memory(); }
    /// Phases agree from hop to hop: a pipe and not noise, a knock or a voice.
    bool coherent() const { return coherent_; }
    /// The bank stands within a few cents of the tone.
    bool well_tuned() const;
    bool speaking() const;
    bool disturbed() const { return disturbed_left_ > 0; }
    bool moving() const { return moving_left_ > 0; }
    bool ended() const { return ended_; }
    bool ending() const { return ending_; }
    /// While it ended, the same note spoke again.
    bool repeated() const { return repeated_; }
    /// Falling slowly, all its partials alike: gain control or noise suppression.
    bool fading() const { return fading_; }
    bool tremulant() const { return tremulant_; }
    /// No tone, but wind in a pipe that is silent.
    bool only_wind() const { return only_wind_; }

    double steady_level_db() const { return steady_level_; }
    double level_db() const;  ///< harmonic power of the last hops, full-scale sine = 0
    double level_slope_db(Seconds over) const;  ///< a second
    Decibels snr() const;
    /// The tone's share of all power in the last few hops, counting only partials whose phase
    /// stands: wind noise within its bands is none of it.
    double share() const;
    /// The partials as they sound now, but no louder than they were, into `lines` (up to its
    /// capacity).
    void list_lines(std::vector<SpectralLine>& lines) const;
    /// The share of the tone's power, in the last few hops and `before` that, of partials that
    /// aren't multiples of `m`: what tells it from the note m times as high.
    double share_beside(int m, Seconds before = Seconds{0.0}) const;
    /// The same of its fundamental.
    double fundamental_share(Seconds before = Seconds{0.0}) const;
    /// How many partials beside the multiples of `m` have a phase.
    int standing_beside(int m) const;
    /// How far the pitch went in the last 50 ms.
    Cents recent_glide() const;
    /// Slope of the pitch over the last two seconds at most; 0 before half a second was heard.
    double drift_cents_a_second() const { return drift_; }
    bool drift_known() const { return drift_known_; }
    Partials partials() const;
    /// Phasor of partial k at the last hop against k·`hz` turning since frame 0.
    std::complex<float> phasor(int k, Hertz hz) const;

  private:
    static constexpr std::int64_t kKeptHops = 256;
    static constexpr double kClearOfWind = 63.0;       // ratio of powers, tone over all else: 18 dB
    static constexpr Hertz kSlowestWind{50.0};         // its bands come and go too slowly below
    static constexpr std::int64_t kStillSpeaking = 5;  // hops whose level is no measure yet

    struct Hop {
        double power = 0.0;       // harmonic
        double residual = 0.0;    // everything else
        bool heard = true;        // false: hidden by a disturbance
        bool joined = true;       // its phase follows from the hop before
        double leaks_at = 0.0;    // Hz off the bank's pitch, when its leaks were taken out
        double hz = 0.0;          // the tracker's pitch then
        double kept_db = -120.0;  // level, each partial counted at most as loud as it was
        double level_db = -120.0;
        FrameIndex to;
    };

    void begin_at(const SoundHistory& sound, Hertz pitch, FrameIndex onset);
    void tune(Hertz pitch);
    void feed(const SoundHistory& sound, FrameIndex to);
    Hertz recent_pitch() const;
    bool take_hop();
    template <typename Counts>
    double share_of(Seconds before, Counts&& counts) const;
    void remove_leaks(std::int64_t hop, double offset);
    void judge_hop();
    void settle_on();
    bool measure_partials(std::int64_t from);
    double information(int row) const;
    bool is_young() const;
    void measure_turns(std::int64_t from);
    double straying(std::size_t count) const;
    bool compare_partials(std::int64_t from);
    double common_variance() const;
    bool may_be_wind() const { return snr_ < kClearOfWind && tuned_ > kSlowestWind; }
    bool weigh(std::int64_t from);
    bool weights_are_stale(std::int64_t from);
    double common_turn(std::int64_t from) const;
    void replay(std::int64_t from);
    void step(std::int64_t h, double offset, bool live);
    std::int64_t find_steady() const;
    Cents spread() const;
    double kept_power(std::int64_t hop) const;
    double slope_db(double Hop::*level, Seconds over) const;
    double kept_slope_db(Seconds over) const;
    void watch_level();
    void watch_end(double level);
    void watch_fading(double level);
    bool partials_fell_alike() const;
    void watch_pitch();
    void watch_tremulant();
    bool grows(std::int64_t from) const;
    void watch_flutter();

    std::complex<float>& z(int row, std::int64_t hop) {
        return series_[static_cast<std::size_t>(row) * kKeptHops +
                       static_cast<std::size_t>(hop % kKeptHops)];
    }
    std::complex<float> z(int row, std::int64_t hop) const {
        return series_[static_cast<std::size_t>(row) * kKeptHops +
                       static_cast<std::size_t>(hop % kKeptHops)];
    }
    std::complex<float>& raw(int channel, int k, std::int64_t hop) {
        const auto row = static_cast<std::size_t>(channel * (partials_ + 1) + k);
        return raw_[row * kKeptHops + static_cast<std::size_t>(hop % kKeptHops)];
    }
    Hop& at(std::int64_t hop) { return hops_[static_cast<std::size_t>(hop % kKeptHops)]; }
    const Hop& at(std::int64_t hop) const {
        return hops_[static_cast<std::size_t>(hop % kKeptHops)];
    }
    int rows() const { return channels_ * partials_; }
    int number(int row) const { return row % partials_ + 1; }
    std::int64_t oldest() const { return std::max<std::int64_t>(0, hop_count_ - kKeptHops + 1); }

    SampleRate rate_;
    int channels_;
    std::vector<PartialBank> banks_;  // of each channel
    HopLeaks leaks_;
    std::vector<std::complex<float>> raw_;  // [channel · (partials + 1) + k][hop]
    std::vector<std::complex<double>> hop_sums_;
    std::vector<std::complex<float>> series_;  // [channel · partials + k − 1][hop], without leaks
    std::vector<Hop> hops_;
    std::vector<double> weight_;     // of each row in the common phase
    std::vector<char> stands_;       // of each row: it has a phase
    std::vector<double> amplitude_;  // of each row, as a sine's
    std::vector<double> noise_;      // of each row in one hop
    std::vector<double> power_;      // of each row, noise included
    std::vector<double> standing_;   // of each row: power that the next hop has in phase
    struct Turn {                    // of one row in lag_ hops, against turn_
        int row;
        double turn, variance;  // cycles of the fundamental, cycles²
        double of_stray;        // what a radian² of its own adds to that
        double weight;
    };
    std::vector<Turn> turns_;  // of the rows that have a say, the loudest first
    std::int64_t lag_ = 1;
    double stray_ = 0.0;            // of the common turn in lag_ hops, cycles²
    double tone_power_ = 0.0;       // of all rows of a channel
    std::int64_t differences_ = 0;  // that the noise rests on
    double turn_ = 0.0;             // cycles a hop, against tuned_
    double phase_variance_ = 1.0;   // of one hop's common phase, cycles²

    bool active_ = false;
    Hertz tuned_;
    int partials_ = 1;
    double misfit_ = 0.0;  // of a hop to whole periods, relative
    Seconds hop_{0.01};
    FrameIndex onset_, fed_to_, heard_to_;
    std::int64_t hop_count_ = 0;
    std::int64_t steady_ = 0;
    std::int64_t weighed_at_ = 0, tuned_at_ = 0, replay_from_ = 0;
    bool refined_ = false;
    bool join_next_ = true;

    PitchTracker tracker_;
    double cycles_ = 0.0;
    bool coherent_ = false, stood_ = false;
    Cents sd_{100.0};  // at the newest frame
    double quiet_residual_ = 0.0;
    std::int64_t disturbed_left_ = 0, disturbed_for_ = 0;
    std::int64_t moving_left_ = 0, moved_at_ = 0;
    int outliers_ = 0;
    double steady_level_ = -120.0, lowest_level_ = -120.0, highest_level_ = -120.0;
    std::int64_t highest_at_ = 0, ending_since_ = 0, falling_ = 0;
    std::int64_t risen_ = 0, low_ = 0;
    bool ended_ = false, ending_ = false, repeated_ = false, fading_ = false, tremulant_ = false;
    double drift_ = 0.0;
    bool drift_known_ = false;
    double snr_ = 0.0;
    bool only_wind_ = false;
};

}  // namespace rankwright::listening

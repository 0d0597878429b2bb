// Looks for tones that begin, and knows what was there before: hum, blower, reverberation.
#pragma once

#include "listening/coarse_pitch.h"
#include "listening/sound_history.h"

#include <array>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Two pitches this near are one note.
constexpr Cents kSameNote{60.0};

/// A note seen in two looks that follow each other, and that wasn't there before.
struct ToneCandidate {
    Hertz pitch;
    FrameIndex onset;  ///< when it became audible, within a few hundredths of a second
    double strength = 0.0;
    double level = 0.0;  ///< harmonic power, a full-scale sine = 1
    int partials = 0;
    bool octave_doubtful = false;
    bool began = true;  ///< false: no beginning was heard, it stands since the stream began
};

/// Whether a line lies at a multiple (up to the 20th) of 50 or 60 Hz, as near as mains keep it.
bool is_at_mains(Hertz pitch);

/// Looks with four windows, short for trebles and long for the bass. A note counts when its
/// partials rose by 6 dB (one of them at least) within the last second; what decays or
/// has always been there (the last note, hum, the blower) doesn't. A note without a beginning
/// counts when it stands clear of the noise, holds its level and isn't at a multiple of the mains.
class ToneFinder {
  public:
    /// Lines of `never_new`, up to twice as strong, count as what has always been there.
    ToneFinder(SampleRate rate, int channels, std::vector<SpectralLine> never_new = {});

    /// Forgets what was seen; sound after a gap is new.
    void reset();

    struct Task {
        std::int64_t step = 0;         ///< counts up by one every 10 ms
        std::optional<Hertz> awaited;  ///< decides between octaves where the lines leave both open
        std::optional<Hertz> known;    ///< the tone that sounds: no candidate
        bool idle = true;              ///< nothing sounds: steady lines are learned as background
        bool stands = false;           ///< the known tone stands: every other window is enough
        std::span<const SpectralLine> last;  ///< of the tone that sounds, or sounded last …
        Seconds last_ended{0.0};             ///< … so long ago; 0 while it sounds
    };
    /// Looks at the newest sound. Never allocates.
    void look(const SoundHistory& sound, const Task& task);

    /// The best note found by the last look, if any.
    const std::optional<ToneCandidate>& candidate() const { return candidate_; }

    /// What the longest windows say sounds now, whether it began or not.
    const std::optional<CoarsePitchReading>& sounding_note() const { return sounding_; }

    /// A line at a multiple of 50 or 60 Hz was there before any pipe.
    bool mains_hum() const;
    /// The lines that were there before.
    std::span<const SpectralLine> background() const;

  private:
    static constexpr std::size_t kCompared = 4;  // partials, with what was there before

    struct Window {
        CoarsePitch coarse;
        Seconds length;
        int every = 1;  // steps
        Hertz lowest;
        std::optional<CoarsePitchReading> last;
    };
    struct Standing {
        SpectralLine line;
        int looks = 0;
        int missed = 0;
    };

    void look_through(Window& window, const SoundHistory& sound, const Task& task);
    std::optional<CoarsePitchReading> best_of_channels(Window& window, const SoundHistory& sound,
                                                       std::optional<Hertz> awaited);
    void weigh_novelty(const Window& window, const SoundHistory& sound,
                       const CoarsePitchReading& reading);
    using Powers = std::array<double, kCompared>;
    Powers powers_of(const SoundHistory& sound, Hertz pitch, FrameIndex from, FrameIndex to) const;
    void choose_partials(const Window& window, double hz);
    void learn_background(const CoarsePitch& coarse, const Task& task);

    SampleRate rate_;
    int channels_;
    int channel_ = 0;  // the one looked at last
    std::vector<Window> windows_;
    std::array<int, kCompared> numbers_{};  // the partials that powers_of measures
    std::size_t number_count_ = 0;
    std::optional<ToneCandidate> candidate_;
    std::optional<CoarsePitchReading> sounding_;
    std::vector<Standing> standing_;
    std::vector<SpectralLine> background_;
    std::vector<SpectralLine> never_new_;
    std::vector<SpectralLine> ignored_;  // those, background and what rings on
};

}  // namespace rankwright::listening

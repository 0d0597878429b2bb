// Finds the note and octave of whatever sounds, from a short window: the seed of the fine fit.
#pragma once

#include "core/units.h"
#include "listening/spectral_lines.h"

#include <array>
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

inline constexpr Hertz kHighestPitch{8400.0};  ///< 1/8-foot C

struct CoarsePitchReading {
    Hertz pitch;                   ///< within a third of a bin (1 / window) on the partials found
    double level = 0.0;            ///< harmonic power, a full-scale sine = 1
    double share = 0.0;            ///< of the strength of all lines, 0 to 1
    double strength = 0.0;         ///< the score; comparable between windows of one stream
    int partials = 0;              ///< lines found at whole multiples
    bool octave_doubtful = false;  ///< no fundamental, and another octave explains nearly as much
};

/// Picks the lines of one window's spectrum and finds the fundamental that explains them best. An
/// empty place in the series costs a little and an unexplained line its own strength, so that weak
/// or missing fundamentals, odd partials alone and a pure sine all keep their octave.
class CoarsePitch {
  public:
    struct Parameters {
        SampleRate rate{48000.0};
        Seconds window{0.25};  ///< finds pitches down to about 4.5 / window
    };
    explicit CoarsePitch(const Parameters& parameters);
    ~CoarsePitch();
    CoarsePitch(CoarsePitch&&) noexcept;
    CoarsePitch& operator=(CoarsePitch&&) noexcept;

    /// How many samples it looks at.
    std::size_t frames() const;

    /// Transforms the last frames() of `samples` (fewer: nothing found) and picks the lines. Lines
    /// near one of `ignore` (hum that was there before) are left out unless they are twice as
    /// loud. Never allocates.
    void look(std::span<const float> samples, std::span<const SpectralLine> ignore = {});

    /// The fundamental of the lines last looked at, within a semitone of `near` when it is given.
    /// Never allocates.
    std::optional<CoarsePitchReading> find(std::optional<Hertz> near = std::nullopt) const;

    /// The lines last looked at, ascending.
    std::span<const SpectralLine> lines() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

/// A small microphone may not hear a lower fundamental.
inline constexpr Hertz kFundamentalHeard{110.0};

/// Whether what looks like a note at `body` is an overblown pipe (a harmonic flute, a stopped pipe
/// at its twelfth), which sounds a multiple of it: as shares of all power, its fundamental is
/// hardly there, and so is what isn't a partial of the multiple (`beside`).
bool is_overblown(Hertz body, double fundamental, double beside);

/// The pitch of the pipe that sounds through most of `samples`, by lines that don't stand at one of
/// `beside`; a few windows vote. Allocates.
std::optional<Hertz> find_pitch(std::span<const float> samples, SampleRate rate,
                                std::optional<Hertz> near = std::nullopt,
                                std::span<const Hertz> beside = {});

}  // namespace rankwright::listening

// Hears a mixture key whole: which of its pipes sound, and how far each is from pure.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// A pitch as a ratio of whole numbers to the key's unison.
struct PureRatio {
    int numerator = 1;
    int denominator = 1;
    constexpr double value() const { return static_cast<double>(numerator) / denominator; }
};

struct MixtureRequest {
    SampleRate rate{48000.0};
    Hertz unison{0.0};  ///< cents count from its multiples
    std::vector<PureRatio>
        pipes;  ///< 1/2 to 32, at most kMostMixturePipes; one pitch may come twice
    std::optional<Hertz> reference;  ///< a reference pipe sounds beside, at this pitch
    /// One of the pipes was read for itself already and surely sounds, wherever it stands. The
    /// others are then asked for beside it, which costs less.
    struct Heard {
        std::size_t pipe = 0;
        Hertz pitch;
    };
    std::optional<Heard> heard{};
    /// How far each pipe stood from pure a moment ago (empty: it wasn't heard). The pipes are then
    /// looked for there first, and others beside them, which costs less than a search.
    std::vector<std::optional<Cents>> before{};
};

inline constexpr std::size_t kMostMixturePipes = 6;

/// More of a key's sound than this isn't heard better: pipes wander, and that is followed by a few
/// terms for the whole span.
inline constexpr Seconds kLongestMixtureSpan{4.8};

/// Less of it isn't heard at all, by the pitch of the lowest pipe.
Seconds shortest_mixture_span(Hertz lowest);

enum class Presence { sounding, silent, cannot_tell };

/// Why it can't be told whether a pipe sounds.
enum class Untold {
    hidden,    ///< the partials of those in `unresolved_with` hide it, or explain what is heard
    soft,      ///< a tone is heard there, so far under the loudest that it may be another's unrest
    noise,     ///< it may be softer than the noise where it would stand
    crowded,   ///< its partials lie too near to others' to be cut out of so short a span
    above,     ///< it sounds above the recording's band
    stray,     ///< a tone stands beside, farther than the pipe was looked for
    unsteady,  ///< a tone stands there alone, too unsteady to be told from noise: `stray` from pure
    channels   ///< one microphone hears it and another doesn't
};

struct MixturePipeReading {
    PureRatio ratio;
    Presence presence = Presence::cannot_tell;
    /// Of a sounding pipe: mean over the span.
    std::optional<Hertz> hz;
    std::optional<Cents> cents;     ///< from the pure pitch
    std::optional<Cents> cents_sd;  ///< standard uncertainty
    /// Root of the power of all partials heard, 0 dB = a full-scale sine; of a silent pipe an upper
    /// limit.
    std::optional<Decibels> level;
    std::vector<std::size_t>
        unresolved_with;  ///< indices of pipes that hide it or may be taken for it
    /// How long a span at least would tell it from all of those; empty where no length would.
    std::optional<Seconds> to_part;
    /// More than is heard at once (kLongestMixtureSpan): silencing one of them tells sooner.
    bool mute_one = false;
    std::optional<Untold> untold{};  ///< why it is "cannot tell"
    /// ln of how much likelier the sound is if it sounds than if it doesn't, as it was judged.
    double evidence = 0.0;
    /// Another of the same ratio: which of the two is which can't be heard, only that one stands
    /// here and one there.
    std::optional<std::size_t> twin{};
    /// A tone stands so far from pure that may be this pipe (Untold::stray, Untold::unsteady).
    std::optional<Cents> stray{};
};

struct MixtureReading {
    std::vector<MixturePipeReading> pipes;  ///< as in the request
    std::optional<MixturePipeReading> reference;
};

/// How many of the key's pipes are read so, the reference aside.
std::size_t count(const MixtureReading& reading, Presence presence);

/// Reads `samples` (one channel) through which one key sounds. Empty when there is nothing but
/// silence or the span is too short (`shortest_mixture_span`).
std::optional<MixtureReading> measure_mixture(std::span<const float> samples,
                                              const MixtureRequest& request);

}  // namespace rankwright::listening

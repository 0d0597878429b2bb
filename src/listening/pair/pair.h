// Reads a reference and a pipe that sound together: both pitches, and the beat with its sign.
#pragma once

#include "core/units.h"
#include "listening/reading.h"

#include <optional>
#include <span>

namespace rankwright::listening {

/// What is known beforehand. The reference's partial `reference_partial` meets the pipe's
/// `pipe_partial`: 1 and 1 for a unison, 2 and 1 for a pipe an octave above its reference.
struct PairRequest {
    SampleRate rate{48000.0};
    Hertz reference{0.0};     ///< its pitch, alone a moment ago or by another source
    Hertz reference_sd{0.0};  ///< how well that is known; its wander since is allowed for besides
    int reference_partial = 1;
    int pipe_partial = 1;
};

/// Standard uncertainty, at least, of a reference's pitch that is told as a number: however many
/// digits are given, no pipe stands closer to what it sounded a moment ago.
inline constexpr Cents kDoubtOfNumber{0.05};

/// The two over the span heard.
struct BeatReading {
    Hertz reference;  ///< mean pitch of the reference
    Hertz pipe;       ///< mean pitch of the pipe
    Hertz beat;       ///< pipe_partial·pipe − reference_partial·reference: positive = sharp
    Hertz beat_sd;    ///< standard uncertainty of that
    /// The part of it that readings share which take the reference's pitch from one hearing of it
    /// alone: by more of them the beat is no better known. Nought where both are heard in this one.
    Hertz shared_sd;
    std::optional<Hertz> under;  ///< set when only this is known: the beat is slower than this
    Cents cents;                 ///< of the pipe from the pure interval; positive = sharp
    /// One pipe alone, with its unrest, would sound so too; `under` is set. Of a recording only.
    bool perhaps_one = false;
    /// The reference's own partials contradict what was known of it, and `reference` is theirs. Of
    /// a recording only.
    bool reference_contradicted = false;
};

/// Reads `samples` (one channel) in which both sound throughout: means over all of it, as the slope
/// of a straight line through each phase gives them; of more than some seconds by parts, through
/// each of which their wander can be followed. The pipe is looked for within 60
/// cents, and within at least 14 beats a second, of the pure interval; the reference where it is
/// expected, or within 20 cents where its partials that the pipe hasn't contradict that. Empty when
/// nothing is heard there, when it is one tone (nothing else within 27 dB of it, or with none of
/// the partials that the other hasn't), or the span is too short: under 0.2 s or 12 periods.
std::optional<BeatReading> measure_pair(std::span<const float> samples, const PairRequest& request);

}  // namespace rankwright::listening

// What the trade calls the keys.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace rankwright::organ {

/// The key with MIDI number `midi` (middle C = 60) as it is called out in the chamber:
/// CCC … FFF♯, GG … BB, CC … FF♯, bass G … bass B, tenor C … tenor B, middle C …, treble C …,
/// "C in alt" …, "C in altissimo" …; beyond these, the pitch class and the MIDI number.
/// Octave names: G. L. Miller, The Recent Revolution in Organ Building (1913), ch. II-III: middle,
/// tenor C, CC, CCC, and GG four notes below CC (so the letters double from GG up, and G to B below
/// tenor C are single: "bass"). Accidentals are named as pipes are marked, all as sharps (common
/// practice, no source).
std::string note_name(int midi);

/// The pitch class alone: "G", "F♯".
std::string short_note(int midi);

/// The MIDI number of a name in the form of note_name, whatever the case; also with flats, with
/// "#" and "b" for ♯ and ♭, "bass C" for CC, "gamut G" for bass G. Empty for anything else, also
/// for c1, C2 and the like, which mean different keys in different books.
std::optional<int> parse_note(std::string_view text);

/// The pitch class 0..11 (C = 0) of a MIDI number.
int pitch_class(int midi);

/// The pitch class 0..11 (C = 0) of "C", "F♯", "F#", "B♭", "Bb"; empty for anything else.
std::optional<int> parse_pitch_class(std::string_view text);

}  // namespace rankwright::organ

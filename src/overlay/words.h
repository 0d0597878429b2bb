// The overlay's figures in words: pure functions, so that they can be checked without a window.
#pragma once

#include "core/units.h"
#include "overlay/snapshot.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::overlay {

/// Which way off, said only when it is known: |deviation| above twice its uncertainty.
enum class Sense { sharp, flat, undecided };

struct Figure {
    Sense sense = Sense::undecided;
    std::string sign;    ///< "sharp", "flat", "off by less than"
    std::string number;  ///< "3.2": the deviation, or, undecided, what it stays under
};

/// Tenths of a cent; hundredths once the uncertainty is below 0.03 cent; whole cents from 100.
Figure figure_of(Cents deviation, std::optional<Cents> uncertainty);

/// Beats a second, from the target beat: two decimals, one from ten on. Where only a limit is
/// known, "under" and that.
Figure figure_of(const Beat& beat);
/// "beats 1.30, wanted 1.80 sharp" where the target isn't nought; else "a beat in 25 s" where
/// it is slower than one in ten; else empty.
std::string beat_words(const Beat& beat);
/// "Octave 4′ 2.1 cents flat of its target"; empty while it isn't known.
std::string reference_words(const Snapshot& snapshot);

/// "0.42 beats a second", "under 0.05 beats a second", "a beat in 25 s". Empty without beats.
std::string beats_words(const Snapshot& snapshot);
/// "± 0.1 cent · heard for 2.1 s"; beside a beat with the cents before: "0.9 cents ± 0.1 · …".
std::string certainty_words(const Snapshot& snapshot);
/// "392.44 Hz, wanted 392.00 Hz".
std::string pitch_words(const Snapshot& snapshot);
/// "A 441.3 measured · 21.3 °C"; empty where neither is known.
std::string day_words(const Snapshot& snapshot);

/// "middle G" → {"middle", "G"}; "C in alt" → {"in alt", "C"}; "low CC" → {"low", "CC"}.
struct NoteParts {
    std::string place;
    std::string letter;
};
NoteParts note_parts(std::string_view note);

/// The notes of "then A · B · C♯": "A", "B", "C♯". Empty for other words.
std::vector<std::string> notes_to_come(std::string_view then);

/// "sleeve down" → {"sleeve", "down"}; words without a way at their end have an empty `way`.
struct MovementParts {
    std::string device;
    std::string way;
};
MovementParts movement_parts(std::string_view words);

/// `value` with `decimals`, a real minus sign.
std::string decimal(double value, int decimals);

}  // namespace rankwright::overlay

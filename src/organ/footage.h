// The pitch of a stop in feet, as people write it.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace rankwright::organ {

/// Pitch of a stop as an exact ratio of feet: 8, 2 2/3 = 8/3, 1 3/5 = 8/5.
struct Footage {
    int numerator = 8;
    int denominator = 1;
    /// Sounding pitch over that of an 8′ pipe on the same key: 8 / feet.
    double ratio() const { return 8.0 * denominator / numerator; }
    /// How many whole semitones above an 8′ pipe on the same key: 19 for 2 2/3, 28 for 1 3/5.
    int semitones() const;
    /// The same pitch class as an 8′ pipe on the same key: 16, 8, 4, 2 …
    bool octave_sounding() const;

    friend bool operator==(const Footage&, const Footage&) = default;
};

/// "8", "2 2/3", "2-2/3", "2⅔", "1/2", each also with a foot mark (′ ' ft). Reduced to lowest
/// terms. Empty for anything else and outside 1/16 to 64 feet.
std::optional<Footage> parse_footage(std::string_view text);

/// "2 2/3" (without the foot mark).
std::string to_string(const Footage& footage);

/// The footage of the `interval`-th above 8′ as mixtures are written: 1 = 8, 8 = 4, 12 = 2 2/3,
/// 15 = 2, 17 = 1 3/5, 19 = 1 1/3, 21 = 1 1/7, 22 = 1 … up to 36; empty for those not in use.
std::optional<Footage> footage_of_interval(int interval);

}  // namespace rankwright::organ

#include "organ/note.h"

#include "organ/taking.h"

#include <array>
#include <cctype>

namespace rankwright::organ {

namespace {

constexpr std::array<const char*, 12> kNotes{"C",  "C♯", "D",  "D♯", "E",  "F",
                                             "F♯", "G",  "G♯", "A",  "A♯", "B"};

// The accidental at the front of `text`, removed: +1, −1 or 0.
int take_accidental(std::string_view& text) {
    if (take(text, "♯") || take(text, "#")) return 1;
    if (take(text, "♭") || take(text, "b")) return -1;
    return 0;
}

std::string lower(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    return out;
}

// Semitones above C of a lower-case letter; −1 when it names no note.
int semitones(char letter) {
    constexpr std::array<int, 7> kSteps{9, 11, 0, 2, 4, 5, 7};
    return letter >= 'a' && letter <= 'g' ? kSteps[static_cast<std::size_t>(letter - 'a')] : -1;
}

// The MIDI number of the note `step` semitones above C when its letter is written `times` over.
std::optional<int> by_letters(int step, std::size_t times) {
    const bool from_g = step >= 7;
    switch (times) {
        case 2:
            return (from_g ? 24 : 36) + step;
        case 3:
            return (from_g ? 12 : 24) + step;
        default:
            return std::nullopt;
    }
}

std::string spelled(int midi) {
    const std::string note = short_note(midi);
    const std::string letter = note.substr(0, 1);
    if (midi >= 19 && midi <= 30) return letter + letter + note;
    if (midi >= 31 && midi <= 42) return letter + note;
    if (midi >= 43 && midi <= 47) return "bass " + note;
    if (midi >= 48 && midi <= 59) return "tenor " + note;
    if (midi >= 60 && midi <= 71) return "middle " + note;
    if (midi >= 72 && midi <= 83) return "treble " + note;
    if (midi >= 84 && midi <= 95) return note + " in alt";
    if (midi >= 96 && midi <= 107) return note + " in altissimo";
    return note + " (MIDI " + std::to_string(midi) + ")";
}

}  // namespace

int pitch_class(int midi) { return ((midi % 12) + 12) % 12; }

std::string short_note(int midi) { return kNotes[static_cast<std::size_t>(pitch_class(midi))]; }

std::string note_name(int midi) {
    // Each of ten thousand pipes asks for its name.
    constexpr int kKnown = 128;
    static const auto names = [] {
        std::array<std::string, kKnown> all;
        for (int m = 0; m < kKnown; ++m)
            all[static_cast<std::size_t>(m)] = spelled(m);
        return all;
    }();
    return midi >= 0 && midi < kKnown ? names[static_cast<std::size_t>(midi)] : spelled(midi);
}

std::optional<int> parse_pitch_class(std::string_view text) {
    const std::string lowered = lower(text);
    std::string_view rest = lowered;
    if (rest.empty() || semitones(rest[0]) < 0) return std::nullopt;
    const int step = semitones(rest[0]);
    rest.remove_prefix(1);
    const int accidental = take_accidental(rest);
    if (!rest.empty()) return std::nullopt;
    return pitch_class(step + accidental);
}

std::optional<int> parse_note(std::string_view text) {
    const std::string lowered = lower(text);
    std::string_view rest = lowered;
    std::optional<int> octave;
    if (take(rest, "bass ") || take(rest, "gamut "))
        octave = 36;
    else if (take(rest, "tenor "))
        octave = 48;
    else if (take(rest, "middle "))
        octave = 60;
    else if (take(rest, "treble "))
        octave = 72;
    if (rest.empty() || semitones(rest[0]) < 0) return std::nullopt;
    const char letter = rest[0];
    const int step = semitones(letter);
    // In "BBb" the last b is a flat, told by its case; after an octave's name any second b is.
    const std::string_view as_written = text.substr(text.size() - rest.size());
    std::size_t times = as_written.find_first_not_of(as_written[0]);
    if (times == std::string_view::npos) times = rest.size();
    if (octave) times = 1;
    rest.remove_prefix(times);
    const int accidental = take_accidental(rest);
    if (octave && times == 1 && rest.empty()) return *octave + step + accidental;
    if (!octave && times == 1 && rest == " in alt") return 84 + step + accidental;
    if (!octave && times == 1 && rest == " in altissimo") return 96 + step + accidental;
    if (octave || !rest.empty()) return std::nullopt;
    const std::optional<int> base = by_letters(step, times);
    if (!base) return std::nullopt;
    return *base + accidental;
}

}  // namespace rankwright::organ

#include "overlay/words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

namespace rankwright::overlay {

namespace {

int decimals_for(double cents, std::optional<Cents> uncertainty) {
    constexpr double kHundredthsBelow = 0.03;
    if (std::abs(cents) >= 100.0) return 0;
    return uncertainty && uncertainty->value() < kHundredthsBelow ? 2 : 1;
}

// Rounds away from zero: "under" must hold.
double rounded_up(double value, int decimals) {
    const double step = std::pow(10.0, -decimals);
    return std::ceil(value / step - 1e-9) * step;
}

bool is_letter_of_note(std::string_view word) {
    if (word.empty()) return false;
    const char first = word.front();
    if (!((first >= 'A' && first <= 'G') || (first >= 'a' && first <= 'g'))) return false;
    word.remove_prefix(std::min(word.find_first_not_of(first), word.size()));
    return word.empty() || word == "♯" || word == "♭" || word == "#";
}

}  // namespace

std::string decimal(double value, int decimals) {
    std::array<char, 32> text{};
    std::snprintf(text.data(), text.size(), "%.*f", decimals, std::abs(value));
    const bool zero = std::string_view(text.data()).find_first_not_of("0.") == std::string::npos;
    return (value < 0 && !zero ? "−" : "") + std::string(text.data());
}

Figure figure_of(Cents deviation, std::optional<Cents> uncertainty) {
    const double off = std::abs(deviation.value());
    const double doubt = uncertainty ? 2.0 * uncertainty->value() : 0.0;
    const int decimals = decimals_for(off, uncertainty);
    if (uncertainty && off <= doubt)
        return {Sense::undecided, "off by less than",
                decimal(rounded_up(off + doubt, decimals), decimals)};
    if (off == 0.0) return {Sense::undecided, "off by", decimal(0.0, decimals)};
    const bool sharp = deviation.value() > 0;
    return {sharp ? Sense::sharp : Sense::flat, sharp ? "sharp" : "flat", decimal(off, decimals)};
}

Figure figure_of(const Beat& beat) {
    const double off = std::abs(beat.off().value());
    const double doubt = 2.0 * beat.uncertainty.value();
    const auto number = [](double rate) { return decimal(rate, rate < 10.0 ? 2 : 1); };
    const bool to_pure = beat.target == Hertz{0.0};
    if (beat.under && to_pure)
        return {Sense::undecided, "under", number(rounded_up(beat.under->value(), 2))};
    if (off <= doubt)
        return {Sense::undecided, to_pure ? "under" : "off by less than",
                number(std::max(0.01, rounded_up(off + doubt, 2)))};
    const bool sharp = beat.off() > Hertz{0.0};
    return {sharp ? Sense::sharp : Sense::flat, sharp ? "sharp" : "flat", number(off)};
}

std::string beat_words(const Beat& beat) {
    const double rate = std::abs(beat.rate.value());
    if (beat.target != Hertz{0.0}) {
        std::string words = beat.under
                                ? "beats under " + decimal(rounded_up(beat.under->value(), 2), 2)
                                : "beats " + decimal(rate, 2);
        const auto side = [](Hertz of) { return of > Hertz{0.0} ? " sharp" : " flat"; };
        const bool other_side = !beat.under && beat.rate * beat.target.value() < Hertz{0.0};
        if (other_side) words += side(beat.rate);
        return words + ", wanted " + decimal(std::abs(beat.target.value()), 2) + side(beat.target);
    }
    constexpr double kSlow = 0.1;
    if (beat.under || rate >= kSlow || rate <= 2.0 * beat.uncertainty.value()) return {};
    return "a beat in " + decimal(1.0 / rate, 0) + " s";
}

std::string reference_words(const Snapshot& snapshot) {
    if (snapshot.reference_a)
        return snapshot.reference + " stands at A " + decimal(snapshot.reference_a->value(), 1);
    if (!snapshot.reference_deviation) return {};
    const double cents = snapshot.reference_deviation->value();
    const std::string off = decimal(std::abs(cents), 1);
    if (off == "0.0") return snapshot.reference + " at its target";
    return snapshot.reference + " " + off + (cents > 0.0 ? " cents sharp" : " cents flat") +
           " of its target";
}

std::string beats_words(const Snapshot& snapshot) {
    if (!snapshot.beats || !snapshot.target) return {};
    const double rate = std::abs(snapshot.beats->value());
    // A cent is this many beats a second here.
    const double beats_a_cent = snapshot.target->value() * std::log(2.0) / 1200.0;
    const double doubt =
        snapshot.uncertainty ? 2.0 * snapshot.uncertainty->value() * beats_a_cent : 0.0;
    constexpr double kSlow = 0.1;
    if (rate <= doubt || rate == 0.0)
        return "under " + decimal(std::max(0.01, rounded_up(rate + doubt, 2)), 2) +
               " beats a second";
    if (rate < kSlow) return "a beat in " + decimal(1.0 / rate, 0) + " s";
    return decimal(rate, rate < 10.0 ? 2 : 1) + " beats a second";
}

std::string certainty_words(const Snapshot& snapshot) {
    std::string words;
    if (snapshot.uncertainty) {
        const double cents = snapshot.uncertainty->value();
        const int decimals = cents < 0.1 ? 2 : 1;
        const std::string doubt = decimal(std::max(0.01, rounded_up(cents, decimals)), decimals);
        if (snapshot.beat && snapshot.deviation)
            words = decimal(std::abs(snapshot.deviation->value()), decimals) + " cents ± " + doubt;
        else
            words = "± " + doubt + " cent";
    }
    if (snapshot.heard.count() > 0)
        words += (words.empty() ? "" : " · ") + std::string("heard for ") +
                 decimal(snapshot.heard.count(), 1) + " s";
    return words;
}

std::string pitch_words(const Snapshot& snapshot) {
    const auto hertz = [](Hertz pitch) {
        return decimal(pitch.value(), pitch.value() < 100.0 ? 3 : 2) + " Hz";
    };
    if (snapshot.pitch && snapshot.target)
        return hertz(*snapshot.pitch) + ", wanted " + hertz(*snapshot.target);
    if (snapshot.pitch) return hertz(*snapshot.pitch);
    if (snapshot.target) return "wanted " + hertz(*snapshot.target);
    return {};
}

std::string day_words(const Snapshot& snapshot) {
    std::string words;
    if (snapshot.pitch_of_day)
        words = "A " + decimal(snapshot.pitch_of_day->value(), 1) +
                (snapshot.pitch_measured ? " measured today" : " not measured");
    if (snapshot.temperature)
        words += (words.empty() ? "" : " · ") + decimal(snapshot.temperature->value(), 1) + " °C";
    if (snapshot.humidity) words += " · " + decimal(100.0 * *snapshot.humidity, 0) + " % humid";
    return words;
}

NoteParts note_parts(std::string_view note) {
    const std::size_t last = note.rfind(' ');
    if (last == std::string_view::npos) return {"", std::string(note)};
    if (is_letter_of_note(note.substr(last + 1)))
        return {std::string(note.substr(0, last)), std::string(note.substr(last + 1))};
    const std::size_t first = note.find(' ');
    if (is_letter_of_note(note.substr(0, first)))
        return {std::string(note.substr(first + 1)), std::string(note.substr(0, first))};
    return {"", std::string(note)};
}

std::vector<std::string> notes_to_come(std::string_view then) {
    constexpr std::string_view kThen = "then ";
    constexpr std::string_view kBetween = " · ";
    if (!then.starts_with(kThen)) return {};
    then.remove_prefix(kThen.size());
    std::vector<std::string> notes;
    while (!then.empty()) {
        const std::size_t end = std::min(then.find(kBetween), then.size());
        notes.emplace_back(then.substr(0, end));
        then.remove_prefix(std::min(end + kBetween.size(), then.size()));
    }
    return notes;
}

MovementParts movement_parts(std::string_view words) {
    const std::size_t last = words.rfind(' ');
    if (last == std::string_view::npos) return {std::string(words), ""};
    const std::string_view way = words.substr(last + 1);
    for (const std::string_view known : {"up", "down", "in", "out", "open", "closed"})
        if (way == known) return {std::string(words.substr(0, last)), std::string(way)};
    return {std::string(words), ""};
}

}  // namespace rankwright::overlay

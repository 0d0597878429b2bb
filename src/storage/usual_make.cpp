#include "storage/usual_make.h"

#include "core/text.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <string_view>
#include <utility>

namespace rankwright::storage {

namespace {

// Common practice, no source.
constexpr std::array<UsualMake, 37> kUsualMakes{{
    {"harmonic", "harmonic", "sleeve"},
    {"chimney", "chimney", "cap"},
    {"rohr", "chimney", "cap"},
    {"bourdon", "stopped", "stopper"},
    {"subbass", "stopped", "stopper"},
    {"gedackt", "stopped", "cap"},
    {"gedeckt", "stopped", "cap"},
    {"stopped", "stopped", "cap"},
    {"lieblich", "stopped", "cap"},
    {"quintaton", "stopped", "cap"},
    {"salicional", "string", "sleeve"},
    {"gamba", "string", "sleeve"},
    {"viol", "string", "sleeve"},
    {"aeoline", "string", "sleeve"},
    {"celeste", "string", "sleeve"},
    {"angelica", "string", "sleeve"},
    {"gemshorn", "tapered", "sleeve"},
    {"spitz", "tapered", "sleeve"},
    {"trumpet", "full-length reed", ""},
    {"trompet", "full-length reed", ""},
    {"trombone", "full-length reed", ""},
    {"posaune", "full-length reed", ""},
    {"bombarde", "full-length reed", ""},
    {"tuba", "full-length reed", ""},
    {"oboe", "full-length reed", ""},
    {"hautboy", "full-length reed", ""},
    {"hautbois", "full-length reed", ""},
    {"cornopean", "full-length reed", ""},
    {"clarion", "full-length reed", ""},
    {"bassoon", "full-length reed", ""},
    {"fagott", "full-length reed", ""},
    {"clarinet", "half-length reed", ""},
    {"krummhorn", "half-length reed", ""},
    {"cromorne", "half-length reed", ""},
    {"dulzian", "half-length reed", ""},
    {"humana", "short reed", ""},
    {"regal", "short reed", ""},
}};

std::string lower(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    return out;
}

// How many rows the last word says: a Roman number up to VI, or for a mixture also a plain one.
std::size_t rows_said(const std::string& name, bool mixture) {
    constexpr std::array<const char*, 6> kRoman{"I", "II", "III", "IV", "V", "VI"};
    const std::string last = name.substr(name.rfind(' ') + 1);
    for (std::size_t i = 0; i < kRoman.size(); ++i)
        if (last == kRoman[i]) return i + 1;
    std::size_t rows = 0;
    const char* end = last.data() + last.size();
    const bool plain = std::from_chars(last.data(), end, rows).ptr == end;
    return mixture && plain && rows <= kRoman.size() ? rows : 0;
}

std::string points_between(const std::vector<int>& intervals) {
    std::string out;
    for (const int interval : intervals)
        out += text_of({out.empty() ? "" : ".", std::to_string(interval)});
    return intervals.size() == 1 ? out + "." : out;
}

// Mixtures that keep their rows throughout. Rauschpfeife and Sesquialtera:
// greifenberger-institut.de; Cornet and Tertian from memory.
struct Unbroken {
    const char* word;
    std::vector<int> rows;  ///< as many as the name says are taken from the end
};
const std::vector<Unbroken>& unbroken() {
    static const std::vector<Unbroken> kAll{{"sesquialt", {12, 17}},
                                            {"cornet", {1, 8, 12, 15, 17}},
                                            {"rausch", {12, 15}},
                                            {"tertian", {17, 19}}};
    return kAll;
}

}  // namespace

bool says(const std::string& name, const char* word) {
    return lower(name).find(word) != std::string::npos;
}

UsualMake usual_make(const std::string& name) {
    for (const UsualMake& make : kUsualMakes)
        if (says(name, make.word)) return make;
    return {"", "open", "sleeve"};
}

std::optional<organ::Footage> feet_at_end(const std::string& name) {
    for (std::size_t i = name.find(' '); i != std::string::npos; i = name.find(' ', i + 1))
        if (const auto feet = organ::parse_footage(std::string_view(name).substr(i))) return feet;
    return std::nullopt;
}

std::vector<UsualRows> usual_rows(const std::string& name) {
    constexpr std::array<const char*, 7> kWords{"mixt",   "fourniture", "scharf",   "cymbal",
                                                "zimbel", "plein jeu",  "sesquialt"};
    const bool mixture = std::any_of(kWords.begin(), kWords.end(),
                                     [&](const char* word) { return says(name, word); });
    std::size_t rows = rows_said(name, mixture);
    constexpr std::size_t kUnsaid = 3;
    if (rows == 0 && mixture) rows = says(name, "sesquialt") ? 2 : kUnsaid;
    if (rows < 2) return {};
    for (const Unbroken& one : unbroken()) {
        if (!says(name, one.word) || rows > one.rows.size()) continue;
        const auto skipped = static_cast<std::ptrdiff_t>(one.rows.size() - rows);
        return {{"CC", points_between({one.rows.begin() + skipped, one.rows.end()})}};
    }
    // An ordinary one: Wikipedia, "Mixture (organ stop)": Fourniture.
    constexpr std::array<int, 10> kSteps{5, 8, 12, 15, 19, 22, 26, 29, 33, 36};
    constexpr std::array<std::pair<const char*, std::ptrdiff_t>, 5> kBreaks{
        {{"CC", 4}, {"tenor C", 3}, {"middle C", 2}, {"treble C", 1}, {"C in alt", 0}}};
    std::vector<UsualRows> out;
    for (const auto& [from, lowest] : kBreaks)
        out.push_back(
            {from, points_between({kSteps.begin() + lowest,
                                   kSteps.begin() + lowest + static_cast<std::ptrdiff_t>(rows)})});
    return out;
}

}  // namespace rankwright::storage

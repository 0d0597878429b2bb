#include "storage/starter_file.h"

#include "core/pipe_id.h"
#include "core/text.h"
#include "organ/footage.h"
#include "storage/instrument_file.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <fstream>
#include <set>

namespace rankwright::storage {

namespace {

// What a word in a stop's name usually means for its pipes (common practice, no source).
struct UsualMake {
    const char* word;
    const char* kind;
    const char* tuned_by;  ///< empty: the kind's usual one (reeds)
};
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

UsualMake usual_make(const std::string& name) {
    const std::string words = lower(name);
    for (const UsualMake& make : kUsualMakes)
        if (words.find(make.word) != std::string::npos) return make;
    return {"", "open", "sleeve"};
}

// A basic TOML string.
std::string in_quotes(std::string_view text) {
    std::string out = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\') out += '\\';
        out += static_cast<unsigned char>(c) < 0x20 ? ' ' : c;
    }
    return out += '"';
}

// "Mixture IV" → 4 when the last word is a Roman number from I to VI.
std::size_t rows_of(const std::string& name) {
    constexpr std::array<const char*, 6> kRoman{"I", "II", "III", "IV", "V", "VI"};
    const std::string last = name.substr(name.rfind(' ') + 1);
    for (std::size_t i = 0; i < kRoman.size(); ++i)
        if (last == kRoman[i]) return i + 1;
    return 0;
}

// The feet at the end of a name, also without a foot mark: here a person is there to check.
std::optional<organ::Footage> feet_of(const std::string& name) {
    for (std::size_t i = name.find(' '); i != std::string::npos; i = name.find(' ', i + 1))
        if (const auto feet = organ::parse_footage(std::string_view(name).substr(i))) return feet;
    return std::nullopt;
}

// The breaks of an ordinary mixture (Wikipedia, "Mixture (organ stop)": Fourniture), as many rows
// of it as are asked for.
std::string mixture_lines(std::size_t rows) {
    constexpr std::array<int, 10> kSteps{5, 8, 12, 15, 19, 22, 26, 29, 33, 36};
    constexpr std::array<std::pair<const char*, std::size_t>, 5> kBreaks{
        {{"CC", 4}, {"tenor C", 3}, {"middle C", 2}, {"treble C", 1}, {"C in alt", 0}}};
    std::string out = "mixture = [                       # an ordinary one: write the pipes' own\n";
    for (const auto& [from, lowest] : kBreaks) {
        out += text_of({"  { from = \"", from, "\", rows = \""});
        for (std::size_t row = 0; row < rows; ++row)
            out += text_of({row > 0 ? "." : "", std::to_string(kSteps[lowest + row])});
        out += rows == 1 ? ".\" },\n" : "\" },\n";
    }
    return out += "]\n";
}

std::string stop_lines(const std::string& written, std::set<std::string>& taken) {
    std::string name = written;
    const auto feet = feet_of(name);
    for (int number = 2; !taken.insert(slug(name)).second; ++number)
        name = text_of({written, " (", std::to_string(number), ")"});
    const UsualMake make = usual_make(name);
    std::string out = text_of({"\n[[division.stop]]\nname = ", in_quotes(name), "\n"});
    const std::size_t rows = rows_of(name);
    if (rows > 1) {
        out += mixture_lines(rows);
    } else {
        out += text_of({"feet = ", in_quotes(to_string(feet.value_or(organ::Footage{}))),
                        feet ? "\n" : "                         # check: the name doesn't say\n"});
    }
    out += text_of({"kind = \"", make.kind, "\"",
                    make.word[0] != '\0' ? "\n" : "                     # check\n"});
    if (make.tuned_by[0] != '\0') out += text_of({"tuned_by = \"", make.tuned_by, "\"\n"});
    if (lower(name).find("celeste") != std::string::npos)
        out +=
            "# celeste_of = \"Salicional 8'\"     # its mate, and how they beat:\n"
            "# beats = { \"tenor C\" = 2.0, \"middle C\" = 3.0, \"C in alt\" = 4.0 }\n";
    return out;
}

constexpr const char* kExplanation = R"(#
# Every key is explained in instruments/README.md. Check this file with: rankwright check FILE
# What stands behind a stop was filled in from its name: check it against the pipes.
#   kind      "open", "tapered", "stopped", "chimney", "harmonic", "string",
#             "full-length reed", "half-length reed", "short reed"
#   tuned_by  "sleeve", "slide", "cap", "stopper", "cone", "scroll", "shade", "flap", "ears",
#             "wire", "resonator sleeve", "resonator scroll", "cut to length"
#   tuned_from = "Octave 4'" says from which stop a rank is tuned.

)";

std::string divisions_text(const StarterAnswers& answers) {
    std::string out;
    for (const StarterDivision& division : answers.divisions) {
        out += text_of({"\n[[division]]\nname = ", in_quotes(division.name),
                        "\nkeys = ", std::to_string(division.keys),
                        "\nchest = \"chromatic\"               # or \"sides, tall at the ends\", "
                        "\"sides, tall in the middle\", \"thirds\"\n"});
        std::set<std::string> taken;
        for (const std::string& stop : division.stops)
            out += stop_lines(stop, taken);
    }
    return out;
}

}  // namespace

std::string starter_file(const StarterAnswers& answers) {
    std::string out = text_of({"# ", in_quotes(answers.name), kExplanation});
    out += text_of({"name = ", in_quotes(answers.name), "\n"});
    if (!answers.place.empty()) out += text_of({"place = ", in_quotes(answers.place), "\n"});
    out += text_of({"\n# The A at which the organ stands, and at what temperature.\npitch = { a = ",
                    decimal(answers.a.value(), 2), ", at = \"", decimal(answers.at.value(), 1),
                    "C\" }\ntemperament = ", in_quotes(answers.temperament), "\n"});
    return out += divisions_text(answers);
}

std::optional<Error> write_starter_file(const std::filesystem::path& path,
                                        const StarterAnswers& answers) {
    const auto error = [&](const char* what) {
        return Error{ErrorKind::bad_input, text_of({"\"", path.string(), "\" ", what}),
                     std::nullopt};
    };
    std::error_code code;
    if (std::filesystem::exists(path, code))
        return error("is there already and is left as it is; give another name.");
    const std::string text = starter_file(answers);
    const LoadedInstrument loaded = read_instrument(text, path.string());
    if (!loaded) return loaded.error().front();
    std::ofstream out(path, std::ios::binary);
    out << text;
    out.close();
    if (!out) return error("can't be written; check the folder and your rights to it.");
    return std::nullopt;
}

}  // namespace rankwright::storage

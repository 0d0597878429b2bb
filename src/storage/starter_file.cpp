#include "storage/starter_file.h"

#include "core/pipe_id.h"
#include "core/text.h"
#include "storage/instrument_file.h"
#include "storage/usual_make.h"

#include <algorithm>
#include <fstream>
#include <set>

namespace rankwright::storage {

namespace {

// A basic TOML string.
std::string in_quotes(std::string_view text) {
    std::string out = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\') out += '\\';
        out += static_cast<unsigned char>(c) < 0x20 ? ' ' : c;
    }
    return out += '"';
}

// A stop of the list under the name it has in the file, and what its name tells.
struct Listed {
    std::string name;
    UsualMake make;
    std::optional<organ::Footage> feet;
    std::vector<UsualRows> mixture;

    bool celeste() const { return says(name, "celeste"); }
    bool open_at(int whole_feet) const {
        return mixture.empty() && feet == organ::Footage{whole_feet, 1} && !celeste() &&
               (std::string_view(make.kind) == "open" || std::string_view(make.kind) == "tapered");
    }
};

std::vector<Listed> listed(const StarterDivision& division) {
    std::set<std::string> taken;
    std::vector<Listed> stops;
    for (const std::string& written : division.stops) {
        Listed stop{written, usual_make(written), feet_at_end(written), usual_rows(written)};
        for (int number = 2; !taken.insert(slug(stop.name)).second; ++number)
            stop.name = text_of({written, " (", std::to_string(number), ")"});
        stops.push_back(std::move(stop));
    }
    return stops;
}

// On which rank the others are tuned: a 4′ Octave or Principal, usually (Wikipedia, "Pipe organ
// tuning"); any open 4′ else.
const Listed* tuning_rank(const std::vector<Listed>& stops) {
    const auto four_foot = [&](bool principal) {
        return std::find_if(stops.begin(), stops.end(), [&](const Listed& stop) {
            return stop.open_at(4) && (!principal || says(stop.name, "octav") ||
                                       says(stop.name, "princ") || says(stop.name, "prest"));
        });
    };
    auto found = four_foot(true);
    if (found == stops.end()) found = four_foot(false);
    return found == stops.end() ? nullptr : &*found;
}

// The rank that a celeste beats with: an unison string or other soft rank of its division.
const Listed* mate_in(const std::vector<Listed>& stops) {
    for (const char* word : {"salicional", "gamba", "viol", "aeoline", "dulciana", "flute"})
        for (const Listed& stop : stops)
            if (!stop.celeste() && stop.mixture.empty() && stop.feet == organ::Footage{8, 1} &&
                says(stop.name, word))
                return &stop;
    return nullptr;
}

std::string celeste_lines(const Listed* mate, int keys) {
    constexpr int kCInAlt = 49;
    std::string out;
    if (mate != nullptr && keys >= kCInAlt)
        // Usually from tenor C: J. I. Wedgwood, Dictionary of Organ Stops (1905), p. 176.
        return text_of(
            {"from = \"tenor C\"                # check\nceleste_of = ", in_quotes(mate->name),
             "\nbeats = { \"tenor C\" = 2.0, \"middle C\" = 3.0, \"C in alt\" = 4.0 }"
             "   # check\n"});
    return "# celeste_of = \"Salicional 8'\"     # its mate, and how they beat:\n"
           "# beats = { \"tenor C\" = 2.0, \"middle C\" = 3.0, \"C in alt\" = 4.0 }\n";
}

std::string make_lines(const Listed& stop) {
    std::string out;
    if (!stop.mixture.empty()) {
        out += "mixture = [                       # an ordinary one: write the pipes' own\n";
        for (const UsualRows& range : stop.mixture)
            out += text_of({"  { from = \"", range.from, "\", rows = \"", range.rows, "\" },\n"});
        out += "]\n";
    } else {
        out += text_of(
            {"feet = ", in_quotes(to_string(stop.feet.value_or(organ::Footage{}))),
             stop.feet ? "\n" : "                         # check: the name doesn't say\n"});
    }
    out += text_of({"kind = \"", stop.make.kind, "\"",
                    stop.make.word[0] != '\0' ? "\n" : "                     # check\n"});
    if (stop.make.tuned_by[0] != '\0')
        out += text_of({"tuned_by = \"", stop.make.tuned_by, "\"\n"});
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
#   borrowed_from = "Bourdon 16'", in place of kind, tuned_by and tuned_from, makes a stop play that
#   rank's pipes; where it plays beyond its top, that rank needs extra_pipes = 12.

)";

// The whole stop list, and the rank on which the bearings are set.
class StopList {
  public:
    explicit StopList(const StarterAnswers& answers) : answers_(answers) {
        for (const StarterDivision& division : answers.divisions)
            divisions_.push_back(listed(division));
        if (!divisions_.empty()) bearings_ = tuning_rank(divisions_.front());
    }

    std::string bearings_line() const {
        constexpr int kMiddleF = 30;
        const bool there = bearings_ != nullptr && answers_.divisions.front().keys >= kMiddleF;
        const std::string stop = in_quotes(
            text_of({answers_.divisions.front().name, "/", there ? bearings_->name : "Octave 4'"}));
        return text_of({there ? "" : "# ", "bearings = { stop = ", stop,
                        ", from = \"tenor F\", to = \"middle F\" }   # check\n"});
    }

    std::string text() const {
        std::string out;
        for (std::size_t d = 0; d < divisions_.size(); ++d) {
            const StarterDivision& division = answers_.divisions[d];
            out +=
                text_of({"\n[[division]]\nname = ", in_quotes(division.name),
                         "\nkeys = ", std::to_string(division.keys),
                         "\nchest = \"chromatic\"               # or \"sides, tall at the ends\", "
                         "\"sides, tall in the middle\", \"thirds\"\n"});
            for (const Listed& stop : divisions_[d]) {
                out += text_of({"\n[[division.stop]]\nname = ", in_quotes(stop.name), "\n"});
                out += make_lines(stop);
                const Listed* mate = stop.celeste() ? mate_in(divisions_[d]) : nullptr;
                if (stop.celeste()) out += celeste_lines(mate, division.keys);
                out += reference_line(d, stop, mate);
            }
        }
        return out;
    }

  private:
    std::string reference_line(std::size_t d, const Listed& stop, const Listed* mate) const {
        const Listed* own = d == 0 ? bearings_ : tuning_rank(divisions_[d]);
        const StarterDivision& first = answers_.divisions.front();
        std::string from;
        if (mate != nullptr)
            from = mate->name;
        else if (own != nullptr && own != &stop)
            from = own->name;
        else if (bearings_ != nullptr && bearings_ != &stop &&
                 answers_.divisions[d].keys <= first.keys)
            from = text_of({first.name, "/", bearings_->name});
        return from.empty() ? std::string() : text_of({"tuned_from = ", in_quotes(from), "\n"});
    }

    const StarterAnswers& answers_;
    std::vector<std::vector<Listed>> divisions_;
    const Listed* bearings_ = nullptr;
};

}  // namespace

std::string starter_file(const StarterAnswers& answers) {
    std::string out = text_of({"# ", in_quotes(answers.name), "\n", kExplanation});
    out += text_of({"name = ", in_quotes(answers.name), "\n"});
    if (!answers.place.empty()) out += text_of({"place = ", in_quotes(answers.place), "\n"});
    out += text_of({"\n# The A at which the organ stands, and at what temperature.\npitch = { a = ",
                    decimal(answers.a.value(), 2), ", at = \"", decimal(answers.at.value(), 1),
                    "C\" }\ntemperament = ", in_quotes(answers.temperament), "\n"});
    if (answers.divisions.empty()) return out;
    const StopList stops(answers);
    return out += stops.bearings_line() + stops.text();
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

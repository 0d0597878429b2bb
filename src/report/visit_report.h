// What a visit's report says, before it is put on paper.
#pragma once

#include "organ/instrument.h"
#include "visit/book_entry.h"
#include "visit/book_record.h"
#include "visit/drift.h"

#include <optional>
#include <string>
#include <vector>

namespace rankwright::report {

/// What the report is made from.
struct Matter {
    visit::VisitRecord visit;
    std::vector<visit::BookEntry> entries;          ///< all of the visit, in order
    const organ::Instrument* instrument = nullptr;  ///< where its file is at hand
    visit::DatedReadings earlier;                   ///< each pipe as the visit before left it
};

/// What was asked, or remarked.
struct Asked {
    visit::WallTime at;
    std::string about;  ///< "Great · Octave 4′, tenor C", or "the organ"
    std::string words;
    bool complaint = false;  ///< of the client
};

struct AirLine {
    visit::WallTime at;
    std::string place;
    Celsius air;
    std::optional<double> humidity;  ///< relative, 0 to 1
};

struct PitchLine {
    visit::WallTime at;
    Hertz a;
    bool measured = false;
};

enum class Outcome {
    tuned,  ///< it stood within its tolerance when it was left
    open,   ///< left before it had settled there
    heard,  ///< measured only
    out_of_reach,
    faulty,     ///< with a fault, and not tuned
    not_heard,  ///< on the list, but never heard
};

struct PipeLine {
    PipeId pipe;
    std::string note;  ///< "tenor C"
    std::optional<Cents> before, after;
    Cents tolerance{0.5};
    Outcome outcome = Outcome::heard;
    bool warm = false;                ///< still warm from the hand when it was left
    bool creeps = false;              ///< its reed's wire still crept then
    bool unstable = false;            ///< called again and again, it never stayed: left open
    std::vector<std::string> faults;  ///< "off speech: only when the wind is low"
};

/// Where on the keyboard one is: the C keys, or every twelfth.
struct KeyMark {
    int key = 1;
    std::string note;
};

/// One row of a stop.
struct RankLines {
    std::string name;
    int first_key = 1;  ///< of the compass, or of what was heard
    int last_key = 61;
    std::string tuned_from;                 ///< "Great · Octave 4′"; empty: to its own target
    std::vector<PipeLine> pipes;            ///< by keys
    std::optional<visit::RankDrift> drift;  ///< since it was left last

    std::vector<KeyMark> marks;

    std::size_t count(Outcome outcome) const;
    /// That stood within their tolerance when the visit was over, tuned or not.
    std::size_t in_tune() const;
    /// At least one of its pipes was.
    bool heard() const;
};

/// Pipes of one rank that share a reason.
struct Reason {
    std::string rank;
    std::string why;
    std::vector<std::string> pipes;  ///< "tenor C", "middle F (2.1 cents sharp)"
};

struct VisitReport {
    std::string organ;
    std::string place;  ///< of the organ; empty where unknown
    visit::VisitRecord visit;
    visit::WallTime last_entry;
    std::optional<Hertz> home_a;
    std::optional<Celsius> home_air;
    std::string temperament;
    std::string summary;            ///< a sentence or two
    bool instrument_known = false;  ///< what is said of pipes rests on an instrument file
    std::vector<Asked> asked;
    std::vector<AirLine> air;
    std::vector<PitchLine> pitch;
    std::vector<RankLines> ranks;  ///< as the instrument file lists them
    std::vector<Reason> not_tuned;
    std::vector<Reason> found_off;  ///< off their targets, and not tuned; the furthest first
    std::vector<Reason> not_heard;  ///< on the list, or found off before, but without a reading
    std::vector<Reason> faults;     ///< of pipes that were tuned all the same
    std::optional<visit::WallTime> last_visit;  ///< the latest reading compared with
    std::vector<std::string> drift;             ///< in sentences; empty without an earlier visit
    std::vector<std::string> advice;
    std::vector<std::string> cautions;
};

VisitReport compose(const Matter& matter);

/// "1.2 cents sharp", "0.4 cents flat", "on its target" (under 0.05).
std::string off_words(Cents deviation);
/// "1.2 cents sharper", "0.4 cents flatter", "where it was" (under 0.05).
std::string drift_words(Cents drift);
/// "3 pipes", "1 pipe".
std::string count_words(std::size_t count, const std::string& one);

}  // namespace rankwright::report

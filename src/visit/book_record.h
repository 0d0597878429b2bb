// What the tuning book tells of visits and readings.
#pragma once

#include "visit/book_entry.h"

#include <optional>
#include <string>

namespace rankwright::visit {

/// What an instrument file said, so that readings can be understood without the file.
struct KeptInstrument {
    std::string text;
    WallTime at;  ///< when it was read
};

/// One stretch of work at one organ.
struct VisitRecord {
    std::string id;          ///< random and lasting (a UUID)
    std::string organ;       ///< lasting slug
    std::string organ_name;  ///< as people write it
    std::string instrument_file;
    WallTime started;
    std::optional<WallTime> ended;  ///< empty: it can be resumed
    std::uint64_t last_serial = 0;  ///< of its entries; 0 = none yet
    /// Id of the visit whose entries it goes on from, when that went on otherwise in another copy
    /// of the book; empty as a rule.
    std::string branch_of{};
    /// Given to keep it with the visit; left empty where visits are read from the book.
    std::optional<KeptInstrument> instrument{};
};

struct OrganRecord {
    std::string slug;
    std::string name;
    std::uint64_t visits = 0;
    std::optional<WallTime> last_visit;  ///< its start
};

/// A reading and where it stands in the book.
struct BookedReading {
    std::string visit;  ///< id
    std::uint64_t serial = 0;
    WallTime at;
    KeptReading reading;
};

/// What one visit found at one pipe: the first reading before it was touched, the latest of the
/// others.
struct PipeFigures {
    PipeId pipe;
    std::string visit;  ///< id
    std::optional<BookedReading> survey;
    std::optional<BookedReading> before;
    std::optional<BookedReading> after;
};

}  // namespace rankwright::visit

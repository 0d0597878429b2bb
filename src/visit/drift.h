// How far pipes moved from one visit to another, with what the air did taken out.
#pragma once

#include "organ/instrument.h"
#include "organ/target.h"
#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace rankwright::visit {

/// The tolerance within which a pipe of that target is tuned.
Cents tolerance_of(const KeptReading& reading);

/// A reading, with the air and the A that were in force when it was taken.
struct DatedReading {
    std::string visit;  ///< id
    WallTime at;
    KeptReading reading;
    organ::Day day;
    bool a_measured = false;  ///< `day.pitch` was heard from references, not typed
};

using DatedReadings = std::map<PipeId, DatedReading>;

/// What one visit heard of each pipe; withdrawn entries and pitches that are none left out.
struct VisitReadings {
    DatedReadings found;  ///< before it was touched: as `before`, or else in the survey
    DatedReadings left;   ///< as `after`, or else as it was heard last
};
/// `entries` are all of the visit, in order.
VisitReadings readings_of(const std::string& visit, std::span<const BookEntry> entries);

/// What tells how far the air alone carried the flues from one visit to the other, best first.
enum class DriftBasis {
    pitch,         ///< A, measured from the references at both: a rank is seen against them
    thermometers,  ///< within some 3 cents a kelvin
    given_pitch,   ///< A as typed at one or both, where a thermometer is missing
    none,          ///< nothing: pipes of a rank can only be compared with one another
};

struct PipeDrift {
    PipeId pipe;
    WallTime since;       ///< when it was heard before
    Cents heard;          ///< how far its pitch has gone, air and all
    Cents air;            ///< what of that the air explains; nought where nothing tells
    Cents drift;          ///< the rest
    Cents own;            ///< what of the drift isn't the rank's trend
    Cents uncertainty;    ///< standard, of `own`
    Cents tolerance;      ///< to which it is tuned
    bool astray = false;  ///< it clearly doesn't hold: see kClearly and the rank's spread
};

/// One row of a stop.
struct RankDrift {
    StopId stop;
    int row = 1;
    DriftBasis basis = DriftBasis::none;  ///< the poorest of its pipes'
    /// The median of its pipes' drifts: the rank's own trend. Empty with fewer than kFewest pipes,
    /// and where nothing tells what the air did.
    std::optional<Cents> trend;
    Cents trend_doubt;             ///< standard: of the trend, by what the air is known from
    std::optional<Cents> spread;   ///< robust, of `own`; empty with fewer than kFewest pipes
    std::vector<PipeDrift> pipes;  ///< by keys
    bool moved = false;            ///< its trend is clearly more than the tolerance
    bool restless = false;         ///< most of its pipes clearly moved against one another
    /// False: no instrument told which pipes are reeds; all were taken for flues, and the trend may
    /// be that of a reed in other air.
    bool kinds_known = true;

    /// Fewer tell no trend.
    static constexpr std::size_t kFewest = 5;
    /// Twice the tolerance, and two standard deviations more: nothing to be said of less.
    static constexpr double kClearly = 2.0;
};

/// What the pipes heard at both visits did between them, by ranks. A flue follows the air whole, a
/// reed by its share (PipeMake::temperature_share); without an instrument each pipe is taken for a
/// flue, and the doubt is the larger. In cents: own pitch's rise − share × (rise of the references
/// + what the thermometers say that the pipe's place rose more than the references').
std::vector<RankDrift> drift_between(const DatedReadings& left, const DatedReadings& found,
                                     const organ::Instrument* instrument);

}  // namespace rankwright::visit

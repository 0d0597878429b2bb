// The instrument as its file describes it.
#pragma once

#include "core/result.h"
#include "core/units.h"
#include "organ/chest.h"
#include "organ/footage.h"
#include "organ/pipe.h"
#include "organ/temperament.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::organ {

/// How loud a rank is beside the ear, as the file states it; a microphone that was never calibrated
/// can't tell.
enum class Loudness { soft, medium, loud, very_loud };

/// How the pipes from `first_key` up to the next range are made.
struct MakeRange {
    int first_key = 1;
    PipeMake make;
};

/// A mixture's rows from `first_key` up to the next break, lowest row first.
struct Composition {
    int first_key = 1;
    std::vector<Footage> rows;
};

/// How fast a celeste beats against its mate at a key; positive = the celeste is sharp.
struct CelesteBeat {
    int key = 1;
    Hertz rate;
};

/// A rank tuned to beat with another on the same keys.
struct Celeste {
    std::string mate_division, mate_stop;  ///< ids
    std::vector<CelesteBeat> beats;        ///< ascending keys; between them in a straight line

    /// At a key; outside the keys given, that of the nearest one. Requires beats not empty.
    Hertz beat_at(int key) const;
};

/// A stop that has no pipes of its own but plays those of another.
struct Borrowed {
    std::string division, stop;  ///< ids of the owner
};

/// From which pipes those from `first_key` up to the next range are tuned.
struct TunedFrom {
    int first_key = 1;
    std::string division, stop;  ///< ids
    int semitones = 0;           ///< the reference key, counted from the key being tuned
};

/// One stop: a single rank, a mixture, or a borrowing.
struct Stop {
    std::string id;    ///< slug, lasting
    std::string name;  ///< "Principal 8′"
    Footage footage;   ///< of a mixture: 8′, the unison of its key
    int first_key = 1;
    int last_key = 61;
    std::vector<MakeRange> makes;          ///< ascending; the first starts at or below first_key
    std::vector<Composition> composition;  ///< of mixtures only, ascending
    bool tempered = false;                 ///< fifths and thirds follow the temperament
    /// Pipes above last_key that only other stops play (unit ranks); 0 = none.
    int extra_pipes = 0;
    std::optional<Celeste> celeste;
    std::optional<Borrowed> borrowed;
    std::vector<TunedFrom> tuned_from;  ///< ascending; empty = from the bearings or its target
    Loudness loudness = Loudness::medium;
    std::optional<ChestArrangement> chest;  ///< where it differs from its division's
    std::optional<int> level;               ///< where it differs from its division's

    bool mixture() const { return !composition.empty(); }
};

struct Division {
    std::string id;
    std::string name;
    int keys = 61;
    int lowest_midi = 36;  ///< key 1; 36 = the C of an 8′ octave
    ChestArrangement chest = ChestArrangement::chromatic;
    std::vector<Stop> stops;
    int level = 1;      ///< floors of the case, 1 = the lowest
    std::string place;  ///< "behind the front, left"; may be empty
};

/// Where the bearings are set: the rank and the keys of the temperament octave.
struct Bearings {
    std::string division, stop;  ///< ids
    int first_key = 1;
    int last_key = 13;
};

struct Instrument {
    std::string name;
    Hertz a{440.0};         ///< the A at which the organ stands …
    Celsius at{20.0};       ///< … at this temperature
    double humidity = 0.5;  ///< … and relative humidity, 0 to 1
    Temperament temperament;
    std::vector<Division> divisions;
    std::string place;
    std::string history;
    std::optional<Bearings> bearings;
};

/// One stop of an instrument; valid as long as the instrument.
struct StopRef {
    const Division* division = nullptr;
    const Stop* stop = nullptr;
    const Instrument* instrument = nullptr;  ///< needed for borrowed stops only
};

/// Finds `Stop` or `Division/Stop` by name or id, whatever the case and the kind of foot mark.
/// Fails when it is missing (naming the nearest) or stands in several divisions.
Result<StopRef> find_stop(const Instrument& instrument, std::string_view name);
/// By ids, exactly; `stop` is null when there is none.
StopRef stop_by_id(const Instrument& instrument, std::string_view division, std::string_view stop);
/// False where there is no such stop.
bool is_of_mixture(const Instrument& instrument, const PipeId& pipe);

/// The stop that has the pipe which a key plays, and that pipe's number in its id.
struct OwnPipe {
    StopRef owner;
    int number = 1;
};
/// Empty when the key plays nothing on this stop, or nobody has the pipes that it borrows.
std::optional<OwnPipe> own_pipe(const StopRef& stop, int key);
/// The pipe that a stop plays on a key (of one row of a mixture); empty when there is none.
std::optional<Pipe> pipe_of(const StopRef& stop, int key, int row = 1);
/// The pipes that a stop plays, by row, then key. A borrowed stop gives its owner's pipes (with
/// the owner's ids), each under the key that plays it here.
std::vector<Pipe> pipes(const StopRef& stop);
/// Every pipe of the instrument once, by division, stop, row, key.
std::vector<Pipe> pipes(const Instrument& instrument);

}  // namespace rankwright::organ

// What the tuning book keeps of a visit, entry by entry.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>

namespace rankwright::visit {

/// Wall-clock time, UTC, whole milliseconds: lasting, unlike the times of a stream.
using WallTime = std::chrono::sys_time<std::chrono::milliseconds>;

/// When in the work a reading was taken.
enum class Moment {
    survey,  ///< while the rank was played through
    before,  ///< the first steady reading, before the pipe was touched
    after,   ///< as it was left: settled inside its tolerance, or as near as it came
};

/// One steady reading.
struct KeptReading {
    PipeId pipe;
    Moment moment = Moment::before;
    Hertz pitch;
    Hertz target;
    Cents deviation{0.0};                        ///< from the target, positive = sharp
    Cents uncertainty{0.0};                      ///< standard
    Seconds heard{0.0};                          ///< how much sound it rests on
    bool settled = false;                        ///< it stood inside its tolerance and didn't drift
    std::optional<PipeId> reference;             ///< from which it was tuned
    std::optional<Cents> reference_deviation;    ///< of that pipe from its own target
    std::optional<Cents> reference_uncertainty;  ///< standard
    std::optional<Hertz> beat;                   ///< with the reference, positive = sharp
    std::optional<Celsius> air;                  ///< at the pipe
};

/// What is wrong with a pipe, in trade words ("off speech", "dead", "cipher"), with what else there
/// is to say.
struct Fault {
    PipeId pipe;
    std::string fault;
    std::string words;
};

/// The pipe couldn't be reached, or can be again.
struct OutOfReach {
    PipeId pipe;
    bool out_of_reach = true;
};

/// A thermometer was read.
struct AirReading {
    std::string place;  ///< a division's id; empty: beside the reference
    Celsius air;
    std::optional<double> humidity;  ///< relative, 0 to 1
};

/// A of today, as measured or given.
struct PitchReading {
    Hertz a;
    bool measured = false;  ///< or typed
};

/// What the client complained of, or the technician remarks, about the organ, a stop or a pipe.
struct Remark {
    std::optional<StopId> stop;
    std::optional<int> key;
    std::string words;
    bool complaint = false;  ///< of the client
};

/// How a pipe stands in the work list.
enum class ListState {
    proposed,    ///< by the survey's findings
    wanted,      ///< confirmed or added by hand
    dropped,     ///< taken off by hand
    open,        ///< left before it had settled
    done,        ///< tuned
    hear_again,  ///< tuned, but to be heard once more: it was warm from the hand, or its reference
                 ///< was moved since
};

struct ListChange {
    PipeId pipe;
    ListState state = ListState::wanted;
};

/// An entry of the same visit that was undone: it stays in the book, but counts no more.
struct Withdrawal {
    std::uint64_t serial = 0;
};

using BookMatter = std::variant<KeptReading, Fault, OutOfReach, AirReading, PitchReading, Remark,
                                ListChange, Withdrawal>;

/// `serial` counts a visit's entries from 1, without gaps, in the order in which they were made:
/// with the visit's own id it names an entry for good, in every copy of the book.
struct BookEntry {
    std::uint64_t serial = 0;
    WallTime at;
    BookMatter matter;
};

}  // namespace rankwright::visit

// What the technician asks for, by keyboard, presenter remote or mouse.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"
#include "visit/book_entry.h"

#include <optional>
#include <string>
#include <variant>

namespace rankwright::visit {

struct GoNext {};  ///< on to the next pipe, kept or not
struct GoBack {};  ///< back to the pipe before
struct GoToKey {
    int key = 1;
};
/// Simulated chamber only: the hand moves the tuning device; positive = up (or out).
struct MoveDevice {
    Millimetres by;
};
struct SetTemperature {
    Celsius to;
    std::optional<double> humidity{};  ///< relative, 0 to 1; empty leaves it as it was
};
/// A of today as typed; the measured one is taken again when `to` is 0.
struct SetPitch {
    Hertz to;
};
/// Take the pitch now sounding as that of the day (the reference pipe stands right).
struct TakePitchOfDay {};
/// Take another stop in hand; what was found at the others is kept.
struct TakeStop {
    StopId stop;
};
/// By beats: hear the pipe without its reference, or with it again.
struct HearAlone {};
/// At a mixture: hear the key whole, no mutes in, or the pipe in hand again, the others muted.
struct HearWhole {};
/// Simulated chamber only: the hands put the mutes where the screen asks for them.
struct MoveMutes {
    std::optional<Decibels> leak{};  ///< so much of its tone the first one put in lets through
};
/// The pipe in hand can't be reached: noted, and on to the next; or it can again.
struct MarkOutOfReach {};
/// What is wrong with the pipe in hand.
struct NoteFault {
    std::string fault;  ///< in trade words: visit/faults.h
    std::string words{};
};
/// A pipe of any stop is taken in hand.
struct GoToPipe {
    PipeId pipe;
};
/// Said of any pipe, stop or the organ, and noted as it is: on or off the work list, out of reach,
/// a complaint, what was checked.
struct Note {
    BookMatter matter;
};
/// Write the report of the visit as it stands, or the helper's calls, as a page.
struct WritePage {
    enum class What { report, calls };
    What what = What::report;
};
/// Look after the whole tuning book, beside the work; what comes of it is shown.
struct CareForBook {
    enum class What {
        look,         ///< where copies may go, and what there is to take in
        back_up,      ///< into a folder
        merge,        ///< with another book
        import,       ///< from an exported file
        export_json,  ///< into a folder
        export_csv,   ///< into a folder
        check,        ///< whether it is sound
    };
    What what = What::look;
    std::string file{};  ///< the file or folder
};
/// Take back what was kept or noted last.
struct Undo {};
/// The visit is over; without this it is gone on with when the organ is opened again.
struct EndVisit {};
struct Quit {};

using Command =
    std::variant<GoNext, GoBack, GoToKey, MoveDevice, SetTemperature, SetPitch, TakePitchOfDay,
                 TakeStop, HearAlone, HearWhole, MoveMutes, MarkOutOfReach, NoteFault, GoToPipe,
                 Note, WritePage, CareForBook, Undo, EndVisit, Quit>;

}  // namespace rankwright::visit

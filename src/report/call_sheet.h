// What the helper at the console is asked for, call after call.
#pragma once

#include "organ/instrument.h"
#include "organ/target.h"
#include "visit/call.h"

#include <string>
#include <vector>

namespace rankwright::report {

struct SheetCall {
    int number = 1;             ///< counted through the whole sheet
    visit::Call call;           ///< its stops are those of the group
    std::vector<PipeId> pipes;  ///< worked at while it is held: several rows of a mixture's key
};

/// Calls that follow each other with the same stops.
struct CallGroup {
    std::string division;            ///< on whose keyboard
    std::vector<std::string> stops;  ///< to have on, the reference first
    std::vector<SheetCall> calls;
};

struct CallSheet {
    std::string organ;
    std::string place;  ///< of the organ; may be empty
    std::string date;   ///< "2026-11-26"; may be empty
    std::vector<CallGroup> groups;

    std::size_t count() const;
};

/// The calls for `pipes` in their order; each with its reference where the file names one, unless
/// each is heard alone.
CallSheet call_sheet(const organ::Instrument& instrument, const std::vector<organ::Pipe>& pipes,
                     bool alone = false);

/// "Octave 4′, then Principal 8′ as well": what to draw for a group.
std::string draw_words(const CallGroup& group);
/// "middle C, key 25"; "middle C on the Swell, key 25" where the keyboard must be said.
std::string key_words(const visit::Call::Key& key, const std::string& keyboard);

/// One self-contained HTML page in large print, which is well-formed XML as well; for A4 and
/// Letter.
std::string to_html(const CallSheet& sheet);
/// The same as lines of text.
std::string to_text(const CallSheet& sheet);

}  // namespace rankwright::report

#include "app/pipe_name.h"

#include "core/nearest_word.h"
#include "core/text.h"
#include "organ/note.h"

#include <algorithm>
#include <charconv>
#include <optional>

namespace rankwright::app {

namespace {

constexpr const char* kHow =
    "write Stop/KEY or Division/Stop/KEY, with the key's number or name, as \"Great/Octave "
    "4'/25\" or \"Octave 4'/middle C\", or the lasting name, as great/octave-4/1/25";

std::optional<int> whole_number(const std::string& text) {
    int number = 0;
    const char* end = text.data() + text.size();
    const auto [stopped, error] = std::from_chars(text.data(), end, number);
    if (text.empty() || error != std::errc{} || stopped != end) return std::nullopt;
    return number;
}

std::optional<organ::Pipe> by_id(const organ::Instrument& instrument, const PipeId& id) {
    for (organ::Pipe& pipe : organ::pipes(instrument))
        if (pipe.id == id) return std::move(pipe);
    return std::nullopt;
}

std::optional<std::string> nearest_id(const organ::Instrument& instrument,
                                      const std::string& text) {
    std::vector<std::string> known;
    for (const organ::Pipe& pipe : organ::pipes(instrument))
        known.push_back(to_string(pipe.id));
    return nearest_word(text, known);
}

}  // namespace

Result<int> find_key(const organ::StopRef& stop, const std::string& text) {
    std::optional<int> key = whole_number(text);
    if (!key)
        if (const auto midi = organ::parse_note(text)) key = *midi - stop.division->lowest_midi + 1;
    const int first = stop.stop->first_key, last = stop.stop->last_key;
    if (key && *key >= first && *key <= last) return *key;
    const auto note = [&](int k) { return organ::note_name(stop.division->lowest_midi + k - 1); };
    std::vector<std::string> names;
    for (int k = first; k <= last; ++k)
        names.push_back(note(k));
    const auto nearest = key ? std::nullopt : nearest_word(text, names);
    return fail(ErrorKind::not_found,
                text_of({"\"", text, "\" is no key of ", stop.division->name, "/", stop.stop->name,
                         ": ", nearest ? "did you mean \"" + *nearest + "\"? " : std::string(),
                         "Its keys go from ", std::to_string(first), " (", note(first), ") to ",
                         std::to_string(last), " (", note(last), ")"}));
}

Result<std::vector<organ::Pipe>> find_pipes(const organ::Instrument& instrument,
                                            const std::string& text) {
    const auto id = parse_pipe_id(text);
    if (id)
        if (auto pipe = by_id(instrument, *id)) return std::vector{std::move(*pipe)};
    const std::size_t slash = text.rfind('/');
    const std::string head = text.substr(0, slash);
    if (slash == std::string::npos || id) {
        const auto nearest = nearest_id(instrument, text);
        return fail(
            slash == std::string::npos ? ErrorKind::bad_input : ErrorKind::not_found,
            text_of({"\"", text, "\" names no pipe of ", instrument.name, ": ",
                     nearest ? "did you mean " + *nearest + "? Otherwise " : std::string(), kHow}));
    }
    const auto stop = organ::find_stop(instrument, head);
    if (!stop)
        return fail(stop.error().kind, text_of({"\"", text, "\" names no pipe. ",
                                                stop.error().message, " For a pipe ", kHow}));
    const auto key = find_key(*stop, text.substr(slash + 1));
    if (!key) return tl::unexpected<Error>(key.error());
    std::vector<organ::Pipe> pipes;
    for (int row = 1; auto pipe = organ::pipe_of(*stop, *key, row); ++row)
        pipes.push_back(std::move(*pipe));
    if (pipes.empty())
        return fail(ErrorKind::not_found,
                    text_of({"\"", text, "\" names no pipe: nothing sounds on that key of ",
                             stop->division->name, "/", stop->stop->name}));
    return pipes;
}

}  // namespace rankwright::app

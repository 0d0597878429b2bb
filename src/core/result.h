// What a call that can fail in the world (device, file, database) gives back.
#pragma once

#include <optional>
#include <string>
#include <utility>

#include <tl/expected.hpp>

namespace rankwright {

/// Where in a file something is wrong; lines and columns count from 1, 0 = unknown.
struct Place {
    std::string file;
    int line = 0;
    int column = 0;
};

enum class ErrorKind {
    bad_input,      ///< what was asked for, or a file, is wrong: the program exits with 2
    not_found,      ///< a file, device, stop or pipe that isn't there: exits with 2
    nothing_heard,  ///< understood, but nothing could be measured: exits with 1
    device,         ///< a sound device failed or went away
    storage,        ///< a file or disk can't be read or written now: exits with 2
};

/// One thing that went wrong, in words for the technician: what happened and what to do next.
struct Error {
    ErrorKind kind = ErrorKind::bad_input;
    std::string message;
    std::optional<Place> where;
};

template <typename T>
using Result = tl::expected<T, Error>;

/// The failed Result: `return fail(ErrorKind::device, "…")`.
inline tl::unexpected<Error> fail(ErrorKind kind, std::string message) {
    return tl::unexpected<Error>(Error{kind, std::move(message), std::nullopt});
}

}  // namespace rankwright

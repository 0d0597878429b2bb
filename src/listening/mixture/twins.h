// Two pipes of one pitch on a key, as where a mixture's ranks meet near a break.
#pragma once

#include "listening/mixture/mixture.h"

#include <cstddef>
#include <optional>
#include <span>

namespace rankwright::listening {

/// Names the twins among the pipes read, unless one of them is the pipe that was `heard` for
/// itself. A pipe in unison with its twin adds nothing of its own to be heard by: it isn't called
/// silent where the key is so nearly in tune that it may well stand there, and the twin that is
/// heard may be the two together, which its uncertainty then allows for.
void judge_twins(std::span<MixturePipeReading> pipes, std::optional<std::size_t> heard);

}  // namespace rankwright::listening

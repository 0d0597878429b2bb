// What `rankwright mixture` is asked, read from its arguments.
#pragma once

#include "core/result.h"
#include "listening/mixture/mixture.h"

#include <string>
#include <vector>

namespace rankwright::app {

/// "3/2,4,6,8": each pipe's pitch as a ratio to the key's unison, from 1/2 to 32, at most
/// listening::kMostMixturePipes. Fails with what to write instead.
Result<std::vector<listening::PureRatio>> parse_ratios(const std::string& pipes);

/// "3/2", or "4" for whole numbers.
std::string ratio_text(const listening::PureRatio& ratio);

/// How a pipe of the request is called: "3/2"; of those of one pitch "first 4", "second 4"; the
/// index after the last is the reference's.
std::string pipe_name(const listening::MixtureRequest& request, std::size_t pipe);

/// What can't be told of a pipe as it was read, why, and what to do: "can't be told yet: it may
/// hide behind 4 (hear 3.4 s or more)". Empty where nothing is open. `longest`: more than this
/// isn't heard at once.
std::string untold_words(const listening::MixturePipeReading& pipe,
                         const listening::MixtureRequest& request, Seconds longest);

}  // namespace rankwright::app

// What `rankwright mixture` is asked, read from its arguments.
#pragma once

#include "core/result.h"
#include "listening/mixture.h"

#include <string>
#include <vector>

namespace rankwright::app {

/// "3/2,4,6,8": each pipe's pitch as a ratio to the key's unison, from 1/2 to 32, at most
/// listening::kMostMixturePipes. Fails with what to write instead.
Result<std::vector<listening::PureRatio>> parse_ratios(const std::string& pipes);

/// "3/2", or "4" for whole numbers.
std::string ratio_text(const listening::PureRatio& ratio);

}  // namespace rankwright::app

// What commands do with live sound: take it until they are told to stop.
#pragma once

#include "capture/source.h"
#include "core/result.h"
#include "core/units.h"

#include <functional>
#include <optional>
#include <string>

namespace rankwright::app {

struct LiveInput {
    std::string device;             ///< an input of `rankwright inputs`; empty: the usual one
    std::optional<double> lasting;  ///< seconds; without it, until interrupted
    /// A stream began, at first and whenever the device was opened anew.
    std::function<void(SampleRate rate, int channels)> begin;
    std::function<void(const capture::CaptureBlock&)> take;
};

/// Hears the live input on this thread, which becomes the listening thread. What the device has to
/// say goes to stderr. Fails when there is no device of that name at the start; one that goes later
/// is waited for.
Result<void> hear_live(const LiveInput& input);

}  // namespace rankwright::app

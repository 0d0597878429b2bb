// What commands do with live sound: take it until they are told to stop.
#pragma once

#include "app/report.h"
#include "capture/source.h"
#include "core/result.h"
#include "core/units.h"

#include <functional>
#include <optional>
#include <string>

namespace rankwright::app {

struct LiveInput {
    std::string device;             ///< an input of `rankwright inputs`; empty: the usual one
    std::optional<int> channel;     ///< 1 or 2; empty: both where there are two
    std::optional<double> lasting;  ///< seconds; without it, until interrupted
    /// A stream began, at first and whenever the device was opened anew.
    std::function<void(SampleRate rate, int channels)> begin;
    std::function<void(const capture::CaptureBlock&)> take;
};

/// Hears the live input on this thread, which becomes the listening thread. What the device has to
/// say goes to stderr. Fails when there is no such channel, or no device of that name at the start;
/// one that goes later is waited for.
Result<void> hear_live(const LiveInput& input);

/// A command that prints what it hears live, a line a reading.
struct LiveReadings {
    enum class Printed { nothing, aside, reading };
    LiveInput input;
    /// Prints what there is to say now; asked at most five times a second. An `aside` is a line
    /// that is no reading.
    std::function<Printed()> print;
    const char* nothing;  ///< what to say in the end when no reading was printed
};
ExitCode print_live_readings(LiveReadings readings);

}  // namespace rankwright::app

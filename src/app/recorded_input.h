// The recording, channel and span that a command was asked to hear.
#pragma once

#include "capture/recording_source.h"
#include "core/result.h"
#include "listening/mixture.h"
#include "listening/pair.h"
#include "listening/reading.h"

#include <optional>
#include <string>

namespace rankwright::app {

/// Reads FILE with --channel (from 1), --from and --to (seconds), each where given; what the user
/// should know although it could be read goes to stderr. Fails like capture::read_recording.
Result<capture::Recording> read_asked(const std::string& file, std::optional<int> channel,
                                      std::optional<double> from, std::optional<double> to);

/// Which of two channels' readings to believe: the surer one; when they heard different notes (hum
/// on a dead line), the louder.
bool better(const listening::PitchReading& one, const listening::PitchReading& other);
bool better(const listening::BeatReading& one, const listening::BeatReading& other);
/// Of two channels' readings of one key: that which decides more pipes, then that which hears more.
bool better(const listening::MixtureReading& one, const listening::MixtureReading& other);

/// Measures every channel (`measure(samples)` gives an optional reading) and keeps the best.
template <typename Measure>
auto best_channel(const capture::Recording& recording, Measure&& measure)
    -> decltype(measure(recording.channel(1))) {
    decltype(measure(recording.channel(1))) best;
    for (int channel = 1; channel <= recording.channels; ++channel) {
        const auto reading = measure(recording.channel(channel));
        if (reading && (!best || better(*reading, *best))) best = reading;
    }
    return best;
}

}  // namespace rankwright::app

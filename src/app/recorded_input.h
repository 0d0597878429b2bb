// The recording, channel and span that a command was asked to hear.
#pragma once

#include "capture/recording_source.h"
#include "core/result.h"
#include "listening/among_others.h"
#include "listening/pair/pair.h"
#include "listening/reading.h"

#include <future>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::app {

/// Reads FILE with --channel (from 1), --from and --to (seconds), each where given; what the user
/// should know although it could be read goes to stderr. Fails like capture::read_recording.
Result<capture::Recording> read_asked(const std::string& file, std::optional<int> channel,
                                      std::optional<double> from, std::optional<double> to);

/// A converter's own constant is no sound: taken out.
std::vector<float> about_the_mean(std::vector<float> samples);

/// That of the channels which has most power, about its mean.
std::vector<float> loudest_channel(const capture::Recording& recording);

/// Seconds from the beginning of the file.
double seconds_in_file(const capture::Recording& recording, std::size_t frame);

/// Share of the samples at the converter's limit, of the channel that has most of them; 0 to 1.
double clipped_in(const capture::Recording& recording);

/// Says on stderr what an overloaded recording can't be trusted in: `invented` may be heard in it
/// that isn't there. Nothing of one that isn't overloaded.
void warn_of_overload(double clipped, const char* invented);

/// Which of two channels' readings to believe: the surer one; when they heard different notes (hum
/// on a dead line), the louder.
bool better(const listening::PitchReading& one, const listening::PitchReading& other);
bool better(const listening::PipeHeard& one, const listening::PipeHeard& other);
bool better(const listening::BeatReading& one, const listening::BeatReading& other);

/// Measures every channel (`measure(samples)` gives an optional reading), in their order. They are
/// measured side by side, so `measure` must change nothing outside itself.
template <typename Measure>
auto each_channel(const capture::Recording& recording, const Measure& measure)
    -> std::vector<decltype(measure(recording.channel(1)))> {
    using Reading = decltype(measure(recording.channel(1)));
    std::vector<std::future<Reading>> others;
    for (int channel = 2; channel <= recording.channels; ++channel)
        others.push_back(std::async([&, channel] { return measure(recording.channel(channel)); }));
    std::vector<Reading> readings{measure(recording.channel(1))};
    for (std::future<Reading>& other : others)
        readings.push_back(other.get());
    return readings;
}

/// Which of several channels' readings is the best; the first where none has any.
template <typename Reading>
std::size_t best_of(const std::vector<std::optional<Reading>>& readings) {
    std::size_t best = 0;
    for (std::size_t i = 1; i < readings.size(); ++i)
        if (readings[i] && (!readings[best] || better(*readings[i], *readings[best]))) best = i;
    return best;
}

/// The best of them.
template <typename Measure>
auto best_channel(const capture::Recording& recording, const Measure& measure)
    -> decltype(measure(recording.channel(1))) {
    auto readings = each_channel(recording, measure);
    return std::move(readings[best_of(readings)]);
}

}  // namespace rankwright::app

#include "app/recorded_input.h"

#include "listening/disturbance.h"
#include "listening/input_meter.h"
#include "listening/partial_power.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <iostream>
#include <numeric>

namespace rankwright::app {

bool better(const listening::PitchReading& one, const listening::PitchReading& other) {
    constexpr double kSameNoteCents = 50.0;
    if (std::abs(interval(one.pitch, other.pitch).value()) > kSameNoteCents)
        return power(one.partials) > power(other.partials);
    return one.sd < other.sd;
}

bool better(const listening::PipeHeard& one, const listening::PipeHeard& other) {
    return better(one.reading, other.reading);
}

bool better(const listening::BeatReading& one, const listening::BeatReading& other) {
    return one.beat_sd < other.beat_sd;
}

std::vector<float> about_the_mean(std::vector<float> samples) {
    const double mean = std::accumulate(samples.begin(), samples.end(), 0.0) /
                        static_cast<double>(std::max<std::size_t>(1, samples.size()));
    for (float& x : samples)
        x -= static_cast<float>(mean);
    return samples;
}

std::vector<float> loudest_channel(const capture::Recording& recording) {
    const auto power = [](const std::vector<float>& samples) {
        return std::inner_product(samples.begin(), samples.end(), samples.begin(), 0.0);
    };
    std::vector<float> loudest = about_the_mean(recording.channel(1));
    for (int channel = 2; channel <= recording.channels; ++channel)
        if (auto other = about_the_mean(recording.channel(channel)); power(other) > power(loudest))
            loudest = std::move(other);
    return loudest;
}

double seconds_in_file(const capture::Recording& recording, std::size_t frame) {
    return duration(recording.first + static_cast<std::int64_t>(frame) - FrameIndex{},
                    recording.rate)
        .count();
}

double clipped_in(const capture::Recording& recording) {
    double most = 0.0;
    for (int channel = 1; channel <= recording.channels; ++channel)
        most = std::max(most, listening::clipped_share(about_the_mean(recording.channel(channel))));
    return most;
}

void warn_of_overload(double clipped, const char* invented) {
    if (clipped < listening::kClippedShare) return;
    std::fprintf(
        stderr,
        "rankwright: overloaded: %.1f %% of the samples at the limit; %s may be heard that "
        "isn't there: turn the input down and record it again\n",
        100.0 * clipped, invented);
}

Result<capture::Recording> read_asked(const std::string& file, std::optional<int> channel,
                                      std::optional<double> from, std::optional<double> to) {
    capture::RecordingSpan span;
    span.channel = channel;
    if (from) span.from = Seconds{*from};
    if (to) span.to = Seconds{*to};
    auto recording = capture::read_recording(file, span);
    if (recording && !recording->note.empty())
        std::cerr << "rankwright: " << recording->note << "\n";
    return recording;
}

}  // namespace rankwright::app

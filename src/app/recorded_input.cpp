#include "app/recorded_input.h"

#include "listening/partial_power.h"

#include <algorithm>
#include <cmath>
#include <iostream>

namespace rankwright::app {

bool better(const listening::PitchReading& one, const listening::PitchReading& other) {
    constexpr double kSameNoteCents = 50.0;
    if (std::abs(interval(one.pitch, other.pitch).value()) > kSameNoteCents)
        return power(one.partials) > power(other.partials);
    return one.sd < other.sd;
}

bool better(const listening::BeatReading& one, const listening::BeatReading& other) {
    return one.beat_sd < other.beat_sd;
}

bool better(const listening::MixtureReading& one, const listening::MixtureReading& other) {
    const auto rank = [](const listening::MixtureReading& reading) {
        const auto count = [&](listening::Presence presence) {
            return std::count_if(reading.pipes.begin(), reading.pipes.end(),
                                 [&](const auto& pipe) { return pipe.presence == presence; });
        };
        const auto sounding = count(listening::Presence::sounding);
        return std::pair{sounding + count(listening::Presence::silent), sounding};
    };
    return rank(one) > rank(other);
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

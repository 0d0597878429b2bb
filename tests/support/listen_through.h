// Runs the live ear over a whole scene and keeps what it said along the way.
#pragma once

#include "listening/pipe_listener.h"
#include "support/scene.h"

#include <algorithm>
#include <optional>
#include <vector>

namespace rankwright::test {

struct Moment {
    double t = 0.0;  ///< seconds of sound heard by then
    listening::Hearing hearing;
};

struct ListenOptions {
    std::optional<Hertz> expected = std::nullopt;
    std::size_t chunk = 480;
    int channels = 1;
};

/// `samples` interleaved.
inline std::vector<Moment> listen_through(const std::vector<float>& samples, double rate,
                                          const ListenOptions& options = {}) {
    listening::PipeListener listener({.rate = SampleRate{rate}, .channels = options.channels});
    listener.expect(options.expected);
    std::vector<Moment> moments;
    const auto width = static_cast<std::size_t>(options.channels);
    std::int64_t frame = 0;
    FrameIndex last{0};
    for (std::size_t i = 0; i < samples.size();) {
        const std::size_t n = std::min(options.chunk * width, samples.size() - i);
        listener.process({frame}, {&samples[i], n});
        frame += static_cast<std::int64_t>(n / width);
        i += n;
        if (listener.hearing().now == last) continue;
        last = listener.hearing().now;
        moments.push_back({static_cast<double>(last.value) / rate, listener.hearing()});
    }
    return moments;
}

inline std::vector<Moment> listen_through(const Scene& scene, const ListenOptions& options = {}) {
    return listen_through(scene.floats(), scene.rate(), options);
}

/// The last moment not later than `t`.
inline const listening::Hearing& at(const std::vector<Moment>& moments, double t) {
    const listening::Hearing* found = &moments.front().hearing;
    for (const Moment& moment : moments)
        if (moment.t <= t + 1e-9) found = &moment.hearing;
    return *found;
}

inline std::size_t readings(const std::vector<Moment>& moments) {
    return static_cast<std::size_t>(
        std::count_if(moments.begin(), moments.end(),
                      [](const Moment& m) { return m.hearing.reading.has_value(); }));
}

/// Error of a reading against `hz`, cents.
inline double miss(const listening::Hearing& hearing, double hz) {
    return hearing.reading ? interval(Hertz{hz}, hearing.reading->pitch).value() : 1e9;
}

}  // namespace rankwright::test

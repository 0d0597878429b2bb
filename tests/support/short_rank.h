// The lowest keys of a rank as a helper plays them, made of tones of exactly known pitch.
#pragma once

#include "support/scene.h"
#include "support/sound_files.h"

#include <cmath>
#include <cstdint>
#include <filesystem>
#include <vector>

namespace rankwright::testing {

/// Keys 1 to 9 of emberlow's Great/Octave 4′ at A 437.5, key 6 left out, two seconds a key from
/// half a second on, with a voice between.
struct ShortRank {
    int rate = 22050;

    static constexpr double kEvery_s = 2.1;
    /// From the target, cents.
    static double off(int key) { return key == 4 ? 20.0 : 0.5 * (key % 3 - 1); }
    static double hz(int key) { return 437.5 * std::exp2((key - 22) / 12.0 + off(key) / 1200.0); }
    bool write(const std::filesystem::path& path, int channels = 1,
               int format = SF_FORMAT_WAV | SF_FORMAT_PCM_16) const {
        test::Scene scene(rate, 20.0, 3);
        double now = 0.5;
        for (int key = 1; key <= 9; ++key) {
            if (key == 6) continue;
            scene.add({.hz = hz(key),
                       .from_s = now,
                       .to_s = now + 1.7,
                       .decay_s = 0.3,
                       .phase_seed = static_cast<std::uint64_t>(key)});
            now += kEvery_s;
        }
        scene.add_white(0.1, 40.0).add_voice(4.7, 0.3, 0.02);
        std::vector<float> samples;
        for (const float x : scene.floats())
            for (int c = 0; c < channels; ++c)
                samples.push_back(c == 1 ? 0.5F * x : x);
        return write_sound(path, samples, rate, channels, format);
    }
};

}  // namespace rankwright::testing

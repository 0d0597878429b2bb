// Sounds and files of a test's own that commands of the program are tried on.
#pragma once

#include "support/sound_files.h"
#include "support/temporary_folder.h"
#include "support/tones.h"

#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::testing {

struct CommandSounds : ::testing::Test {
    TemporaryFolder folder;
    std::mt19937_64 random{2026};

    /// Eight partials falling as 1/k, 0.3 of full scale, with noise 50 dB under that.
    std::vector<float> tone(double hz, double seconds, int rate) {
        auto samples = render(sawtooth_like(hz, rate, seconds, 8, 0.3, random));
        std::normal_distribution<float> noise(0.0F, 0.001F);
        for (float& x : samples)
            x += noise(random);
        return samples;
    }
    /// Its name as a shell takes it.
    std::string file(const std::string& name, const std::vector<float>& samples, int rate,
                     int channels = 1, int format = SF_FORMAT_WAV | SF_FORMAT_FLOAT) {
        EXPECT_TRUE(write_sound(folder / name, samples, rate, channels, format));
        return "'" + (folder / name).string() + "'";
    }
};

}  // namespace rankwright::testing

// Writes test sounds to files.
#pragma once

#include <filesystem>
#include <vector>

#include <sndfile.h>

namespace rankwright::testing {

/// Interleaved samples as a 32-bit float WAV file (or another libsndfile `format`).
inline bool write_sound(const std::filesystem::path& path, const std::vector<float>& samples,
                        int rate, int channels = 1, int format = SF_FORMAT_WAV | SF_FORMAT_FLOAT) {
    SF_INFO info{};
    info.samplerate = rate;
    info.channels = channels;
    info.format = format;
    SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
    if (file == nullptr) return false;
    const auto wanted = static_cast<sf_count_t>(samples.size());
    const bool written = sf_write_float(file, samples.data(), wanted) == wanted;
    return sf_close(file) == 0 && written;
}

}  // namespace rankwright::testing

// Recorded single pipes, unpacked by fetch_recordings (Debian's grandorgue-demo, open data).
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include <sndfile.h>

namespace rankwright::testing {

struct RecordedPipe {
    std::string rank;
    int midi = 0;
    double rate = 0.0;
    std::vector<std::vector<float>> channels;

    std::string name() const { return rank + " " + std::to_string(midi); }
    /// The equal-tempered pitch of the key at A 440: within a semitone of the pipe, not the truth.
    double nominal_hz() const {
        const double octaves = rank == "Octavin2" ? 2.0 : 0.0;
        return 440.0 * std::exp2((midi - 69) / 12.0 + octaves);
    }
};

/// Where the recordings are: RANKWRIGHT_RECORDINGS in the environment, otherwise as configured.
inline std::filesystem::path recordings_folder() {
    const char* folder = std::getenv("RANKWRIGHT_RECORDINGS");
#ifdef RANKWRIGHT_RECORDINGS
    if (folder == nullptr) folder = RANKWRIGHT_RECORDINGS;
#endif
    return folder == nullptr ? "" : folder;
}

/// All pipes of these ranks between two keys. Throws when the recordings aren't there.
inline std::vector<RecordedPipe> recorded_pipes(const std::vector<std::string>& ranks,
                                                int lowest = 42, int highest = 91) {
    const std::filesystem::path folder = recordings_folder();
    std::vector<RecordedPipe> pipes;
    for (const std::string& rank : ranks) {
        for (int midi = lowest; midi <= highest; ++midi) {
            char file[16];
            std::snprintf(file, sizeof file, "%03d.wav", midi);
            const std::filesystem::path path = folder / rank / file;
            if (!std::filesystem::exists(path)) continue;
            SF_INFO info{};
            SNDFILE* sound = sf_open(path.c_str(), SFM_READ, &info);
            if (sound == nullptr) throw std::runtime_error("can't read " + path.string());
            const auto count = static_cast<std::size_t>(info.channels);
            std::vector<float> all(static_cast<std::size_t>(info.frames) * count);
            sf_readf_float(sound, all.data(), info.frames);
            sf_close(sound);
            RecordedPipe pipe{rank, midi, static_cast<double>(info.samplerate), {}};
            pipe.channels.resize(count);
            for (std::size_t i = 0; i < all.size(); ++i)
                pipe.channels[i % count].push_back(all[i]);
            pipes.push_back(std::move(pipe));
        }
    }
    if (pipes.empty()) {
        throw std::runtime_error("no recorded pipes in '" + folder.string() +
                                 "': run tests/support/fetch_recordings FOLDER, then configure "
                                 "with -DRANKWRIGHT_RECORDINGS=FOLDER");
    }
    return pipes;
}

/// Frames [first, last) where the pipe stands: a second after the start, until its power first
/// falls by a quarter (the release, at the latest). Judged from power alone.
inline std::pair<std::size_t, std::size_t> standing(const RecordedPipe& pipe) {
    const auto hop = static_cast<std::size_t>(0.1 * pipe.rate);
    std::vector<double> power;
    for (std::size_t first = 0; first + hop <= pipe.channels[0].size(); first += hop) {
        double sum = 0.0;
        for (const auto& channel : pipe.channels)
            for (std::size_t i = 0; i < hop; ++i)
                sum += static_cast<double>(channel[first + i]) *
                       static_cast<double>(channel[first + i]);
        power.push_back(sum);
    }
    constexpr std::size_t kStart = 10;
    if (power.size() < 2 * kStart) return {0, 0};
    std::vector<double> middle(power.begin() + kStart,
                               power.begin() + static_cast<std::ptrdiff_t>(power.size() / 2 + 5));
    std::nth_element(middle.begin(),
                     middle.begin() + static_cast<std::ptrdiff_t>(middle.size() / 2), middle.end());
    const double usual = middle[middle.size() / 2];
    std::size_t end = kStart;
    while (end < power.size() && power[end] > 0.75 * usual)
        ++end;
    return {kStart * hop, std::max(kStart, end - 1) * hop};
}

}  // namespace rankwright::testing

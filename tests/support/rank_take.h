// A long recording of a rank played through, mixed from recorded single pipes (open data): each key
// is the nearest recorded pipe, resampled by an exactly known ratio, with voices, knocks and blower
// between. Knows what was played when.
#pragma once

#include "accuracy/pair_cases.h"
#include "support/phase_slope.h"
#include "support/recordings.h"
#include "support/scene.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

namespace rankwright::testing {

/// A key as it was played, and the pipe's sound alone.
struct PlayedKey {
    int midi = 0;
    double from_s = 0.0, to_s = 0.0;
    double hz = 0.0;  ///< over the standing part of the pipe's recording
    std::vector<float> alone;
};

/// The pipes of one recorded rank, each with its pitch.
class RecordedRank {
  public:
    /// Pipes of which the reference finds no pitch (every partial fades in the recording's room)
    /// are left out: their neighbours take their place.
    explicit RecordedRank(const std::string& rank) {
        for (RecordedPipe& pipe : recorded_pipes({rank})) {
            const auto [first, last] = standing(pipe);
            std::optional<double> hz = pipe.nominal_hz();
            // The reference wants to begin within a few cents.
            for (int look = 0; look < 3 && hz; ++look)
                hz = phase_slope_pitch(pipe.channels[0], first, last, pipe.rate, *hz);
            if (!hz) continue;
            hz_.push_back(*hz);
            pipes_.push_back(std::move(pipe));
        }
        if (pipes_.size() < 8) throw std::runtime_error("too few pipes with a pitch in " + rank);
    }
    double rate() const { return pipes_.front().rate; }

    /// A pipe of `hz` held for `seconds`, from its onset on; it dies away within `ring_s` more.
    std::vector<float> sound(double hz, double seconds, double ring_s = 0.8) const {
        std::size_t nearest = 0;
        for (std::size_t i = 1; i < pipes_.size(); ++i)
            if (std::abs(std::log(hz_[i] / hz)) < std::abs(std::log(hz_[nearest] / hz)))
                nearest = i;
        const double ratio = hz / hz_[nearest];
        const auto held = static_cast<std::size_t>(seconds * rate());
        const auto ring = static_cast<std::size_t>(ring_s * rate());
        const std::span<const float> whole(pipes_[nearest].channels[0]);
        const auto needed = static_cast<std::size_t>(ratio * static_cast<double>(held + ring)) + 99;
        std::vector<float> all = resampled(whole.first(std::min(needed, whole.size())), ratio);
        all.resize(std::min(all.size(), held + ring));
        for (std::size_t i = held; i < all.size(); ++i)
            all[i] *= static_cast<float>(std::exp(
                -std::log(1000.0) * static_cast<double>(i - held) / static_cast<double>(ring)));
        return all;
    }

  private:
    std::vector<RecordedPipe> pipes_;
    std::vector<double> hz_;
};

class RankTake {
  public:
    RankTake(double rate, double seconds, std::uint64_t seed) : scene(rate, seconds, seed) {}

    /// Presses a key at `at_s`; `cents` is the pipe's pitch from equal temperament at A 440, its
    /// sounding note `raised` semitones above the key.
    void press(const RecordedRank& rank, int midi, double cents, double at_s, double hold_s,
               int raised = 0) {
        PlayedKey key{midi, at_s, at_s + hold_s, 0.0, {}};
        key.hz = 440.0 * std::exp2((midi + raised - 69) / 12.0 + cents / 1200.0);
        key.alone = rank.sound(key.hz, hold_s);
        const auto first = static_cast<std::size_t>(at_s * scene.rate());
        auto& samples = scene.samples();
        for (std::size_t i = 0; i < key.alone.size() && first + i < samples.size(); ++i)
            samples[first + i] += static_cast<double>(key.alone[i]);
        played.push_back(std::move(key));
    }

    /// The key that was down in the middle of a span; null when none was.
    const PlayedKey* at(double from_s, double to_s) const {
        const double middle = 0.5 * (from_s + to_s);
        for (const PlayedKey& key : played)
            if (middle >= key.from_s && middle <= key.to_s) return &key;
        return nullptr;
    }

    /// The pitch of a key's own pipe over a span of the recording, by the test's own method.
    std::optional<double> pitch(const PlayedKey& key, double from_s, double to_s) const {
        const auto frame = [&](double s) {
            return static_cast<std::size_t>(std::max(0.0, s - key.from_s) * scene.rate());
        };
        return phase_slope_pitch(key.alone, frame(from_s), frame(to_s), scene.rate(), key.hz);
    }

    test::Scene scene;
    std::vector<PlayedKey> played;
};

}  // namespace rankwright::testing

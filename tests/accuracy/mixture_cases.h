// Mixture keys mixed from recorded pipes (open data), each resampled by an exactly known ratio:
// what is true of them comes from how they were mixed and, for the pitches, from the slopes of each
// pipe's own partials' phases while it was alone.
#pragma once

#include "core/units.h"
#include "listening/mixture/mixture.h"
#include "support/recordings.h"

#include <cstdint>
#include <optional>
#include <random>
#include <string>
#include <vector>

namespace rankwright::testing {

struct MixtureDraw {
    std::vector<std::string> ranks{"Montre8", "Trompette8"};
    double silent = 0.0;   ///< share of the pipes
    double leaking = 0.0;  ///< share
    double leak_db = -30.0;
    double sd_cents = 4.5;  ///< of the pipes' deviations, which stay within 2.7 times that
    double seconds = 2.4;
    bool six = false;          ///< pipes to a key; four otherwise
    bool doubled = false;      ///< two of them of one pitch
    double apart_cents = 0.0;  ///< those two, where it isn't 0; before each one's own wander
    bool reference = false;    ///< one more pipe at the unison sounds beside
};

struct MixedPipe {
    bool leaks = false;
    bool silent = false;
    double hz = 0.0;           ///< its own mean over the span
    double db = 0.0;           ///< its level, the leak included
    std::string source;        ///< the recording
    std::vector<float> alone;  ///< its share of the key's sound
};

struct MixedKey {
    listening::MixtureRequest request;
    std::vector<MixedPipe> pipes;  ///< as in the request
    std::vector<float> samples;
};

/// The reading with what is said of pipes of one ratio in the order that fits the truth best: which
/// of them is which isn't asked.
listening::MixtureReading in_best_order(listening::MixtureReading reading, const MixedKey& key);

/// Recordings to draw from, read once.
class MixtureRecordings {
  public:
    explicit MixtureRecordings(const std::vector<std::string>& ranks);

    /// Pipes of ±12 dB, a few cents off; empty when no recording is near enough and long enough for
    /// one of those drawn.
    std::optional<MixedKey> draw(const MixtureDraw& wanted, std::mt19937_64& random) const;

  private:
    struct Source {
        RecordedPipe pipe;
        std::size_t first = 0, last = 0;  // where it stands
        double hz = 0.0;
    };
    bool add(MixedKey& key, double hz, double gain_db, double seconds, MixedPipe pipe,
             std::mt19937_64& random) const;

    std::vector<Source> all_;
};

}  // namespace rankwright::testing

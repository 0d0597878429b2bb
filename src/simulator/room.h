// The chamber's walls: reflections of what is said and knocked, and reverberation of everything.
#pragma once

#include "core/units.h"
#include "simulator/random.h"
#include "simulator/sound_block.h"

#include <array>
#include <vector>

namespace rankwright::simulator {

/// Eight delay lines fed back through an orthogonal matrix (Jot and Chaigne, AES preprint 3030,
/// 1991); each is as lossy as its length asks for the wanted reverberation time.
class Room {
  public:
    /// `reverberation` is the time for 60 dB in the middle frequencies; treble dies sooner.
    Room(SampleRate rate, Seconds reverberation, std::size_t microphones, Random random);
    /// Adds the events' reflections and the reverberation to the microphones.
    void render(SoundBlock& block);

  private:
    static constexpr std::size_t kLines = 8;
    static constexpr std::size_t kTaps = 6;
    struct Line {
        std::vector<float> samples;
        std::size_t at = 0;
        float gain = 0.0F;
        float dull = 0.0F;  ///< state of the treble loss
        std::array<float, kMostMicrophones> to_microphone{};
    };
    struct Tap {
        std::size_t back = 0;
        float gain = 0.0F;
    };

    void render_events(SoundBlock& block);
    void render_reverberation(SoundBlock& block);

    std::size_t microphones_;
    std::array<Line, kLines> lines_;
    float treble_loss_;
    float level_ = 0.0F;
    std::vector<float> events_;
    std::size_t events_at_ = 0;
    std::array<std::array<Tap, kTaps>, kMostMicrophones> taps_;
};

}  // namespace rankwright::simulator

// Which channel a pair is listened to on.
#pragma once

#include "listening/pair/watch.h"
#include "listening/sound_history.h"

#include <cstddef>
#include <vector>

namespace rankwright::listening {

/// Watches every channel: one microphone may be far off, or not plugged in.
class PairChannels {
  public:
    PairChannels(SampleRate rate, int channels);

    /// As PairWatch::expect. Allocates.
    void expect(Hertz reference, int m, int n, const SoundHistory& sound);
    /// Takes what is new in `sound`.
    void advance(const SoundHistory& sound);
    /// Goes over to a channel that hears what sounds now clearly better than the one listened to.
    void choose();

    int chosen() const { return static_cast<int>(chosen_); }
    PairWatch& watch() { return watches_[chosen_]; }

  private:
    std::vector<PairWatch> watches_;
    std::size_t chosen_ = 0;
};

}  // namespace rankwright::listening

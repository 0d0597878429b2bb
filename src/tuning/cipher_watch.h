// A pipe that sounds on after its key was let go: found, and taken out of a survey's sound.
#pragma once

#include "tuning/survey_sound.h"
#include "tuning/tones_heard.h"

#include <vector>

namespace rankwright::tuning {

/// Looks whether a pipe sounds on after its key was let go: whether its partials still stand a few
/// seconds later, again and again, though other keys are down by then. `sound` must outlive it.
class CipherWatch {
  public:
    CipherWatch(const HeardTone& tone, const SurveySound& sound);

    bool sounds_on() const;
    FrameIndex from() const { return from_; }  ///< a key would have been let go by then
    /// What sounds is this multiple of the tone's pitch: of its partials no others are there. A
    /// cipher between two keys may be read as an undertone of its own, near the key before it.
    int times() const { return times_; }

  private:
    struct Line {
        int number;
        Hertz hz;
        double level_db;
    };
    bool stands(FrameIndex at) const;

    const SurveySound& sound_;
    FrameIndex from_;
    std::vector<Line> lines_;
    int times_ = 1;
};

/// Reads the pitch of a tone that sounds from `from` to the end, whatever else does: in the middle
/// of what is read again and again. False, and nothing read, when it is too seldom.
bool measure_lasting(HeardTone& tone, const SurveySound& sound, FrameIndex from);

/// The multiples of `tone`'s pitch at which something stands from `from` to the end, whatever else
/// sounds; at least those of its own partials while the sound is too short to tell.
std::vector<Hertz> standing_lines(const HeardTone& tone, const SurveySound& sound, FrameIndex from);

/// Since when most of those lines have stood without a pause, going back from `from`.
FrameIndex stand_since(std::span<const Hertz> lines, const SurveySound& sound, FrameIndex from);

/// The sound from `from` on, one channel after the other in each frame, without those lines.
std::vector<float> without_lines(const SurveySound& sound, FrameIndex from,
                                 std::span<const Hertz> lines);

}  // namespace rankwright::tuning

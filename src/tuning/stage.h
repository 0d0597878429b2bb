// Where the work on one pipe stands.
#pragma once

namespace rankwright::tuning {

enum class Stage {
    waiting,    ///< nothing sounds: call the key
    reference,  ///< only the reference sounds, and is being read: draw the pipe to it
    speaking,   ///< a pipe began; no honest figure yet
    reading,    ///< a figure stands and tightens
    moving,     ///< the device is being moved; the figure follows
    disturbed,  ///< knock or voice: the last figure is held, greyed
    wrong_key,  ///< another note sounds than the one awaited
    settled,    ///< inside tolerance and not drifting
};

}  // namespace rankwright::tuning

// What a pipe is made like, how it is tuned, and where it sits in the instrument.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"

#include <string>

namespace rankwright::organ {

enum class PipeKind {
    open,       ///< cylindrical or rectangular, open at the top
    tapered,    ///< open, narrower at the top
    stopped,    ///< closed by a cap or stopper: odd partials, half the length
    chimney,    ///< stopped, with a small open tube through the cap
    harmonic,   ///< open at double length, bored near the middle
    string,     ///< open and narrow, rich in partials
    reed_full,  ///< reed with a resonator of full length
    reed_half,  ///< reed with a resonator of half length
    reed_short  ///< reed with a short (regal) resonator
};

enum class Material { metal, wood };

enum class TuningDevice {
    sleeve,            ///< movable sleeve round the top of an open pipe
    slide,             ///< the same on a larger pipe, or a clip-on slide
    cap,               ///< movable cap on a stopped metal pipe
    stopper,           ///< movable stopper in a stopped wooden pipe
    cone,              ///< tuned by coning the open end in or out
    scroll,            ///< a slot with a tongue of metal rolled up or down
    shade,             ///< a metal flap over the open end
    flap,              ///< a wooden flap over the open end
    ears,              ///< bendable ears beside the mouth (capped and chimney pipes)
    reed_wire,         ///< the tuning wire of a reed
    resonator_sleeve,  ///< sleeve on a reed's resonator, worked together with its wire
    resonator_scroll,  ///< slot with scroll on a reed's resonator
    none               ///< cut to length
};

/// How the pipes of one key range of a rank are made.
struct PipeMake {
    PipeKind kind = PipeKind::open;
    Material material = Material::metal;
    TuningDevice device = TuningDevice::sleeve;
    /// How much of the flue pipes' shift with temperature this pipe follows: 1 = all of it (flues),
    /// 0 = none; reeds lie between.
    double temperature_share = 1.0;
    bool reed() const { return kind >= PipeKind::reed_full; }
};

/// One pipe as the instrument file describes it.
struct Pipe {
    PipeId id;
    std::string division;  ///< as people write it: "Great"
    std::string stop;      ///< as people write it: "Principal 8′"
    int key = 1;           ///< the key that plays it on that stop (id.key except in unit ranks)
    int midi = 60;         ///< that key's MIDI number (middle C = 60), not the sounding pitch
    std::string note;      ///< that key in the trade's words: "middle C"
    double ratio = 1.0;    ///< sounding pitch over that of an 8′ pipe on the same key
    /// A fifth- or third-sounding pipe that follows the temperament at the note it sounds;
    /// otherwise it is pure to the unison of its key.
    bool tempered = false;
    Hertz celeste_beat{0.0};  ///< beats above (or, negative, below) its mate; 0 for no celeste
    PipeMake make;
};

}  // namespace rankwright::organ

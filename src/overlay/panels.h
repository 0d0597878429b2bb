// The overlay's panels: each draws its part of a snapshot into its place.
#pragma once

#include "overlay/canvas.h"
#include "overlay/checks.h"
#include "overlay/layout.h"
#include "overlay/snapshot.h"
#include "overlay/words.h"

namespace rankwright::overlay {

class RibbonPainter;
using LeavingTicks = Ticks<kChecksAfter.size()>;

void draw_header(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// How far off, which way, and how sure; or what is awaited, or another key that sounds.
void draw_figures(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
void draw_pipe(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// Which way to move the device, beside the pipe.
void draw_advice(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// One ribbon per meeting of partials, from key-down to the right.
void draw_ribbons(Canvas& canvas, const Rect& place, const Snapshot& snapshot,
                  RibbonPainter& painter);
void draw_call(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// At a mixture: the key, the pipe to be left open, what to mute next, how many mutes are in.
void draw_mixture_call(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// At a mixture: another pipe than the one in hand, or others beside it.
void draw_wrong_pipe(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// The key heard whole: which pipe to go to, and how far it is off.
void draw_whole_key(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// The key's pipes in their rows, mutes in their tops, each with what is known of it.
void draw_mixture_key(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// A rank played through, in place of pipe, figures, ribbons and call.
void draw_survey(Canvas& canvas, const Layout& layout, const Snapshot& snapshot);
/// Nothing is left to do: which pipes stay as they are, and what comes before leaving.
void draw_end(Canvas& canvas, const Rect& place, const EndView& end);
/// "Not this one": two lines crossed out, 64 units wide.
void draw_not_equal(Canvas& canvas, Point at);
void draw_chest(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// The first notice that isn't urgent; false when there is none.
bool draw_notice(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// An urgent notice, big enough for the ladder.
void draw_trouble(Canvas& canvas, const Rect& place, const Notice& notice);
void draw_hints(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
/// All keys, and the cautions of the work.
void draw_help(Canvas& canvas, const Rect& place, const Snapshot& snapshot);
void draw_quit_question(Canvas& canvas, const Rect& place, const Snapshot& snapshot,
                        const LeavingTicks& ticks);
/// What the helper is to hold: the call in hand and those to come, for the helper's own eyes.
void draw_call_list(Canvas& canvas, const Rect& place, const Snapshot& snapshot);

/// A triangle with an exclamation mark: goes with every caution, so that colour isn't alone.
void draw_caution_mark(Canvas& canvas, Point centre, float size);
/// A stroke that reads as done from any distance.
void draw_tick(Canvas& canvas, const Rect& place, ImU32 colour, float stroke);
/// A level line with a block above it (sharp) or below it (flat), as on the chest plan.
void draw_sense_mark(Canvas& canvas, const Rect& place, Sense sense);

/// Warm for sharp, cool for flat, pale when undecided.
ImU32 colour_of(Sense sense);
/// The sense of the figure that is shown; undecided without one.
Sense sense_of(const Snapshot& snapshot);
/// The urgent notice, or none.
const Notice* urgent_notice(const Snapshot& snapshot);

}  // namespace rankwright::overlay

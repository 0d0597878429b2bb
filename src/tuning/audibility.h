// How much of a mistuned pipe's beating is heard.
#pragma once

#include "core/units.h"
#include "listening/reading.h"

namespace rankwright::tuning {

/// A pipe at `pitch` that stands `off` from where the ensemble has it: its partials beat with the
/// ensemble's at k times the first one's rate. 0 (nobody hears it) to 1 (all of its sound beats
/// four times a second and more). Each partial counts by its loudness, A-weighted power to the 0.3
/// (IEC 61672-1:2013, annex E; S. S. Stevens, JASA 27, 1955, p. 815: from memory), and by how well
/// its beat is heard: b² / (b² + 4²) for b a second, the slow side of fluctuation strength's law
/// 1 / (b/4 + 4/b) (Fastl & Zwicker, Psychoacoustics, 2007, ch. 10: from memory); faster beats
/// don't count less, because roughness takes over. Without `partials`, as of a pipe whose k-th is
/// 1/k as strong, eight of them.
double audibility(Hertz pitch, Cents off, const listening::Partials& partials = {});

/// The fastest of these beats among partials within 20 dB of the loudest, A-weighted; positive.
Hertz fastest_beat(Hertz pitch, Cents off, const listening::Partials& partials = {});

}  // namespace rankwright::tuning

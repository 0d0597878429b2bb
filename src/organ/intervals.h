// The intervals that are tuned, how they beat, and the bearings.
#pragma once

#include "organ/reference.h"
#include "organ/target.h"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace rankwright::organ {

/// An interval whose pure form is upper : lower: the `upper`-th partial of its low note meets the
/// `lower`-th of its high one.
struct TuningInterval {
    const char* name;  ///< "fifth"
    int semitones;
    int upper;  ///< 3 for a fifth
    int lower;  ///< 2 for a fifth
};

/// Minor third to seventeenth, by size; unison and octave too.
std::span<const TuningInterval> tuning_intervals();
/// By name; null when unknown.
const TuningInterval* find_interval(std::string_view name);

/// Beats a second where the two meet: lower × high − upper × low. Positive = wide.
Hertz beat(const TuningInterval& interval, Hertz low, Hertz high);

/// How one interval on a rank should beat today.
struct BeatingInterval {
    int low_key = 1;
    int high_key = 1;
    const TuningInterval* interval = nullptr;
    Hertz beat;  ///< positive = wide, negative = narrow
};

/// "fifth tenor F – middle C narrow, 0.59 beats a second"; "pure" below 0.005.
std::string to_words(const BeatingInterval& beating, int lowest_midi);

/// Every minor and major third, fourth, fifth, minor and major sixth that lies between two keys of
/// a stop, by interval, then low key. Targets are those of the temperament at today's pitch.
std::vector<BeatingInterval> beat_table(const Instrument& instrument, const StopRef& stop,
                                        int first_key, int last_key, const Day& day);

/// One step in setting the bearings: tune `key` from `from`, which already stands.
struct BearingStep {
    int key = 1;
    int from = 1;
    BeatingInterval to_set;  ///< the interval that the step sets, and its beat
    Hertz key_beat;          ///< the same as the tuned note hears it: positive = the note
                             ///< lies above the one that would be pure
    std::vector<BeatingInterval> checks;  ///< thirds and sixths with notes that stand already
};

/// The bearings of `instrument.bearings` (requires it), by fifths up and fourths down from the A
/// that is tuned first, to both sides as far as the widest fifth (the wolf; G♯–E♭ when all are
/// alike), then the octaves inside its keys. The A itself has `from` = its own key.
std::vector<BearingStep> bearings_plan(const Instrument& instrument, const Day& day);

/// From which pipe a step of the bearings is tuned, by which partials and at which beat; empty for
/// the first note.
std::optional<Reference> reference_of(const Instrument& instrument, const BearingStep& step,
                                      const Day& day);

}  // namespace rankwright::organ

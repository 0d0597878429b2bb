// How the bearings are printed: for people, and as JSON.
#pragma once

#include "app/json_output.h"
#include "core/result.h"
#include "organ/intervals.h"

#include <vector>

namespace rankwright::app {

/// The steps in which the bearings are set; fails when the file names none.
Result<std::vector<organ::BearingStep>> bearings_of(const organ::Instrument& instrument,
                                                    const organ::Day& day);

/// A list of `key`, `note`, `from_key`, `from_note`, `interval` (null for the first note),
/// `from_partial`, `partial`, `beat_hz` (positive = wide), `sharp_hz` (positive = the tuned note
/// lies above the pure interval), `hz`, `checks` (list of `interval`, `low_key`, `high_key`,
/// `beat_hz`).
Json bearings_json(const organ::Instrument& instrument,
                   const std::vector<organ::BearingStep>& steps, const organ::Day& day);

/// How every interval between two of their keys beats: a list of `interval`, `low_key`,
/// `high_key`, `beat_hz` (positive = wide).
Json beat_table_json(const organ::Instrument& instrument, const organ::Day& day);

/// The steps with their checks, then that table.
void print_bearings(const organ::Instrument& instrument,
                    const std::vector<organ::BearingStep>& steps, const organ::Day& day);

}  // namespace rankwright::app

// A survey from one long recording.
#pragma once

#include "tuning/survey.h"

#include <span>

namespace rankwright::tuning {

/// Every tone of the sound, measured, in the order of onsets.
std::vector<HeardTone> tones_of_recording(std::span<const float> interleaved, SampleRate rate,
                                          int channels);

/// Follows the whole recording as the live ear would, on its first two channels; then measures each
/// tone where it stands, on the channel that hears it best, and judges. Interleaved samples.
SurveyResult survey_recording(const SurveyPlan& plan, std::span<const float> interleaved,
                              SampleRate rate, int channels);

}  // namespace rankwright::tuning

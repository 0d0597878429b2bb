// Pictures of a rank: its pipes side by side as on the keyboard, sharp above the line, flat below.
#pragma once

#include "report/visit_report.h"

#include <string>

namespace rankwright::report {

/// Each pipe as it was found and as it was left, in cents from its target: an SVG element.
std::string tuning_plot(const RankLines& rank);

/// How far each pipe went since it was left last, the air taken out. Requires rank.drift.
std::string drift_plot(const RankLines& rank);

/// What the marks mean: an SVG element.
std::string plot_legend();

}  // namespace rankwright::report

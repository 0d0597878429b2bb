// What the report says of the time to come.
#pragma once

#include "report/pipe_words.h"
#include "report/visit_report.h"

#include <string>
#include <vector>

namespace rankwright::report {

/// How the pipes moved since they were left last, and how that is known.
std::vector<std::string> drift_sentences(const VisitReport& report);

/// What to do next time, and what to have looked at before.
std::vector<std::string> advice(const VisitReport& report, const Matter& matter,
                                const PipeWords& words);

/// For those who go near the organ; common practice, no source.
std::vector<std::string> cautions();

}  // namespace rankwright::report

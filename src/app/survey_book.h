// A survey from a recording, kept in the tuning book.
#pragma once

#include "app/visit_book.h"
#include "core/result.h"
#include "organ/target.h"
#include "visit/findings.h"

#include <map>
#include <string>
#include <vector>

namespace rankwright::app {

struct KeptSurvey {
    std::map<PipeId, visit::KeptReading> last_time;  ///< how an earlier visit left each pipe
    std::string why_not;  ///< why readings weren't kept, in words; empty when they were
};

/// Goes on with the organ's open visit or begins one, and writes what the survey found: day, A,
/// readings, faults, pipes proposed for the work list. Fails when the book can't be read or
/// written.
Result<KeptSurvey> keep_survey(const organ::Instrument& instrument,
                               const visit::SurveyedStop& survey,
                               const std::vector<visit::Finding>& findings, const organ::Day& day,
                               const VisitBook::Options& options);

}  // namespace rankwright::app

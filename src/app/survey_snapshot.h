// What the window shows of a rank that is played through.
#pragma once

#include "app/survey_work.h"
#include "overlay/snapshot.h"
#include "visit/run.h"

namespace rankwright::app {

/// Takes the place of what was filled in for the pipe in hand: figures, chest, counts. `book`: the
/// work is kept in one.
void fill_survey(overlay::Snapshot& out, const SurveyWork& work, const visit::Run& run, bool book);

}  // namespace rankwright::app

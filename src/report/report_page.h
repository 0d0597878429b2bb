// The report as one page for the screen and for paper.
#pragma once

#include "report/visit_report.h"

#include <string>

namespace rankwright::report {

/// One self-contained HTML document, UTF-8, which is well-formed XML as well: no scripts, nothing
/// from elsewhere. Times are those of the computer's time zone.
std::string to_html(const VisitReport& report);

/// "2026-11-26 09:15", in the computer's time zone.
std::string local_time(visit::WallTime at);
/// "2026-11-26".
std::string local_date(visit::WallTime at);

}  // namespace rankwright::report

// Finds ranks that are tuned from each other in a circle.
#pragma once

#include "storage/division_reader.h"

namespace rankwright::storage {

/// Follows every pipe's reference from pipe to pipe and notes each circle once, at the first link
/// of the file that belongs to it. A borrowed stop whose owner isn't known ends the way.
void refuse_circles(const organ::Instrument& instrument, const std::vector<Link>& links,
                    Mistakes& mistakes);

}  // namespace rankwright::storage

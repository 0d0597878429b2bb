// Counts this thread's allocations, to show that what must not allocate doesn't.
#pragma once

#include <cstddef>

namespace rankwright::testing {

/// False under the sanitizers, which bring an allocator of their own: then nothing is counted.
bool allocations_are_counted();

/// malloc, calloc and realloc (so operator new too) called by this thread since it began. Needs
/// allocation_count.cpp among the sources of the test program.
std::size_t allocations();

}  // namespace rankwright::testing

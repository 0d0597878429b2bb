#include "support/allocation_count.h"

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define RANKWRIGHT_SANITIZED 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define RANKWRIGHT_SANITIZED 1
#endif
#endif

namespace {
thread_local std::size_t count = 0;
}

#ifndef RANKWRIGHT_SANITIZED
// glibc's own names for what is wrapped here.
extern "C" {
void* __libc_malloc(std::size_t size);                     // NOLINT
void* __libc_calloc(std::size_t items, std::size_t size);  // NOLINT
void* __libc_realloc(void* memory, std::size_t size);      // NOLINT
void* malloc(std::size_t size) {
    ++count;
    return __libc_malloc(size);
}
void* calloc(std::size_t items, std::size_t size) {
    ++count;
    return __libc_calloc(items, size);
}
void* realloc(void* memory, std::size_t size) {
    ++count;
    return __libc_realloc(memory, size);
}
}
#endif

namespace rankwright::testing {

bool allocations_are_counted() {
#ifdef RANKWRIGHT_SANITIZED
    return false;
#else
    return true;
#endif
}

std::size_t allocations() { return count; }

}  // namespace rankwright::testing

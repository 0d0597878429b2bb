// Sums over samples, done several at a time where the processor can.
#pragma once

#include <cstring>

#if defined(__has_feature)
#if __has_feature(thread_sanitizer)
#define RANKWRIGHT_ONE_WIDTH
#endif
#endif

/// Before a function's definition: it is compiled twice, also for registers of four doubles, and
/// the program takes at its start what the processor has. The figures differ by rounding only: no
/// fused multiply-adds.
#if defined(__x86_64__) && !defined(RANKWRIGHT_ONE_WIDTH) && !defined(__SANITIZE_THREAD__)
#define RANKWRIGHT_WIDE __attribute__((target_clones("avx2", "default")))
#else  // The thread sanitizer isn't ready when the choice is made.
#define RANKWRIGHT_WIDE
#endif

namespace rankwright::listening {

/// Eight floats or four doubles that are added and multiplied each by itself (an extension that
/// both compilers have). Left to themselves they take running sums one by one.
using EightFloats = float __attribute__((vector_size(32)));
using FourDoubles = double __attribute__((vector_size(32)));

template <typename Lanes, typename T>
inline void load(Lanes& lanes, const T* from) {
    std::memcpy(&lanes, from, sizeof lanes);
}

}  // namespace rankwright::listening

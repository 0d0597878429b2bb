#include "listening/filtered.h"

#include "listening/wide_registers.h"

#include <algorithm>

namespace rankwright::listening {

namespace {

RANKWRIGHT_WIDE std::complex<double> sums(const float* x, const float* re, const float* im,
                                          std::size_t length) {
    constexpr std::size_t kRun = 64, kLanes = 8;
    double sum_re = 0.0, sum_im = 0.0;
    for (std::size_t i = 0; i < length; i += kRun) {
        EightFloats run_re{}, run_im{}, sound, tap;
        const std::size_t end = std::min(length, i + kRun);
        std::size_t j = i;
        for (; j + kLanes <= end; j += kLanes) {
            load(sound, x + j);
            load(tap, re + j);
            run_re += sound * tap;
            load(tap, im + j);
            run_im += sound * tap;
        }
        for (; j < end; ++j) {
            run_re[0] += x[j] * re[j];
            run_im[0] += x[j] * im[j];
        }
        for (std::size_t lane = 0; lane < kLanes; ++lane) {
            sum_re += static_cast<double>(run_re[lane]);
            sum_im += static_cast<double>(run_im[lane]);
        }
    }
    return {sum_re, sum_im};
}

}  // namespace

std::complex<double> filtered(const float* x, const float* re, const float* im,
                              std::size_t length) {
    return sums(x, re, im, length);
}

}  // namespace rankwright::listening

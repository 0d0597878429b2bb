// Bands written down as sums of phasors: when the second begins is known by construction.
#include "listening/pair/onset.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace {

using Complex = std::complex<double>;
constexpr double kPitch_hz = 262.0;

/// The first three partials' bands over three seconds: `tones` of a partial at a time.
std::vector<PairBand> bands_of(const std::function<Complex(int, double)>& tones) {
    std::vector<PairBand> bands;
    for (const int partial : {1, 2, 3}) {
        PairBand band;
        band.line = {partial, partial, partial * kPitch_hz, 20.0, kPitch_hz};
        band.rate = 80.0;
        band.first_s = -1.5;
        for (int m = 0; m < 240; ++m)
            band.z.push_back(tones(partial, band.first_s + m / band.rate));
        bands.push_back(band);
    }
    return bands;
}

Complex turning(double hz, double at_s) {
    return std::polar(1.0, 2.0 * std::numbers::pi * hz * at_s);
}

TEST(PairOnset, IsFoundWhereAnotherToneSetsIn) {
    for (const double level : {0.2, 1.0})
        for (const double beat_hz : {0.1, -0.7})
            for (const double begins_s : {-0.4, 0.6}) {
                const auto bands = bands_of([&](int partial, double t) {
                    const double grown = std::clamp((t - begins_s) / 0.05, 0.0, 1.0);
                    return Complex{1.0} + level * grown * turning(partial * beat_hz, t);
                });
                const auto onset = onset_in(bands, kPitch_hz);
                ASSERT_TRUE(onset) << level << " " << beat_hz;
                EXPECT_NEAR(*onset, begins_s, 0.07) << level << " " << beat_hz;
            }
}

TEST(PairOnset, ARoomThatFillsIsNone) {
    const auto bands = bands_of([](int partial, double t) {
        return Complex{1.0} - std::polar(0.4, 0.7 * partial) * std::exp(-(t + 1.5) / 0.5);
    });
    EXPECT_FALSE(onset_in(bands, kPitch_hz));
}

TEST(PairOnset, TwoThatBeatThroughoutAreNone) {
    for (const double beat_hz : {0.3, 1.0, 4.0}) {
        const auto bands = bands_of([&](int partial, double t) {
            return Complex{1.0} + 0.7 * turning(partial * beat_hz, t);
        });
        EXPECT_FALSE(onset_in(bands, kPitch_hz)) << beat_hz;
    }
}

}  // namespace
}  // namespace rankwright::listening

#include "app/snapshot.h"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace {

constexpr double kStep_s = 0.02;

/// Frames of partials that run `beat_hz` (times their number) ahead of the awaited pitch.
std::vector<listening::PartialFrame> frames(double beat_hz, double seconds) {
    std::vector<listening::PartialFrame> all;
    for (double t = 0.0; t < seconds; t += kStep_s) {
        listening::PartialFrame frame;
        for (std::size_t k = 0; k < listening::kRibbonPartials; ++k)
            frame.phasor[k] = std::polar(0.1F, static_cast<float>(2.0 * std::numbers::pi * beat_hz *
                                                                  static_cast<double>(k + 1) * t));
        all.push_back(frame);
    }
    return all;
}

int beads(const std::vector<float>& width) {
    int count = 0;
    for (std::size_t i = 1; i < width.size(); ++i)
        count += width[i - 1] < 0.5F && width[i] >= 0.5F;
    return count;
}

// A unison x hertz out beats x times a second, its k-th partials k times as fast (Sedley Taylor,
// Sound and Music, 1873).
TEST(Ribbons, HaveABeadForEachBeat) {
    const auto ribbons = make_ribbons(frames(0.5, 8.0));
    ASSERT_EQ(ribbons.size(), listening::kRibbonPartials);
    for (std::size_t k = 0; k < ribbons.size(); ++k)
        EXPECT_NEAR(beads(ribbons[k].width), 0.5 * 8.0 * static_cast<double>(k + 1), 1.01) << k + 1;
    EXPECT_EQ(ribbons[1].label, "2:2");
}

TEST(Ribbons, AreEvenForAPurePipe) {
    for (const auto& ribbon : make_ribbons(frames(0.0, 4.0)))
        for (const float width : ribbon.width)
            EXPECT_NEAR(width, 1.0F, 1e-4F);
}

TEST(Ribbons, AreEmptyBeforeAnythingSounded) {
    for (const auto& ribbon : make_ribbons({}))
        EXPECT_TRUE(ribbon.width.empty());
}

TEST(Amount, IsSaidOnlyWhereMillimetresAreKnown) {
    organ::Movement movement;
    EXPECT_EQ(amount_words(movement), "");
    movement.at_least = Millimetres{2.1};
    movement.at_most = Millimetres{4.2};
    EXPECT_EQ(amount_words(movement), "2 to 4 mm");
    movement.at_most = Millimetres{2.2};
    EXPECT_EQ(amount_words(movement), "about 2.0 mm");
    movement.at_least = Millimetres{18.0};
    movement.at_most = Millimetres{18.4};
    EXPECT_EQ(amount_words(movement), "about 18 mm");
}

TEST(Level, IsSaidInWords) {
    listening::Hearing hearing;
    hearing.sounding = listening::Sounding::steady;
    hearing.input.rms = Decibels{-30.0};
    EXPECT_FALSE(level_words(hearing).bad);
    hearing.input.clipped = 0.01;
    EXPECT_TRUE(level_words(hearing).bad);
    hearing.input = {Decibels{-120.0}, Decibels{-120.0}, 0.0};
    EXPECT_TRUE(level_words(hearing).bad);
}

}  // namespace
}  // namespace rankwright::app

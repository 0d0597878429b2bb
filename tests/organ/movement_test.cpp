#include "organ/movement.h"

#include <cmath>

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace movement_test {

using namespace literals;

constexpr double kSpeed = 343.2;

Pipe pipe_of(PipeKind kind, TuningDevice device) {
    Pipe pipe;
    pipe.make.kind = kind;
    pipe.make.device = device;
    return pipe;
}

void expect_way(TuningDevice device, PipeKind kind, Way sharpen, Way flatten) {
    const Pipe pipe = pipe_of(kind, device);
    EXPECT_EQ(movement(pipe, 440_Hz, 5_cents, kSpeed).way, sharpen) << static_cast<int>(device);
    EXPECT_EQ(movement(pipe, 440_Hz, Cents{-5}, kSpeed).way, flatten) << static_cast<int>(device);
}

// Slides, stoppers and reed wires: Theatre Organ Society tuning notes (toff.org.uk); reed wires
// also G. L. Miller 1913, ch. XI. Cone, scroll, shade, flap, ears: common practice, no source.
TEST(Movement, WhichWay) {
    for (const auto device : {TuningDevice::sleeve, TuningDevice::slide})
        expect_way(device, PipeKind::open, Way::down, Way::up);
    for (const auto device : {TuningDevice::cap, TuningDevice::stopper})
        expect_way(device, PipeKind::stopped, Way::down, Way::up);
    expect_way(TuningDevice::reed_wire, PipeKind::reed_full, Way::down, Way::up);
    expect_way(TuningDevice::cone, PipeKind::open, Way::out, Way::in);
    expect_way(TuningDevice::scroll, PipeKind::open, Way::down, Way::up);
    expect_way(TuningDevice::shade, PipeKind::open, Way::up, Way::down);
    expect_way(TuningDevice::flap, PipeKind::open, Way::up, Way::down);
    expect_way(TuningDevice::ears, PipeKind::chimney, Way::out, Way::in);
    expect_way(TuningDevice::none, PipeKind::open, Way::none, Way::none);
    EXPECT_EQ(movement(pipe_of(PipeKind::open, TuningDevice::sleeve), 440_Hz, 0_cents, kSpeed).way,
              Way::none);
}

// Miller 1913, ch. XI, figs 31-33: a wire moved but not relieved creeps back.
TEST(Movement, TheSpringIsSettled) {
    const auto reed = pipe_of(PipeKind::reed_full, TuningDevice::reed_wire);
    EXPECT_NE(movement(reed, 440_Hz, 5_cents, kSpeed).caution.find("settle the spring"),
              std::string::npos);
    EXPECT_FALSE(movement(reed, 65_Hz, 50_cents, kSpeed).at_most);
}

// W. Adelung, Einführung in den Orgelbau (1991), pp. 85-86: normal scale 155.5 mm at 8′ C, half of
// it 16 semitones up. Wikipedia, "Organ flue pipe scaling", prints for middle C: normal 54.9 mm,
// viole d'orchestre (−10) 35.6, principal (−2) 50.4, open diapason (+1) 57.4, cut off, not rounded.
TEST(Movement, NormalScale) {
    const Hertz middle_c = 261.6256_Hz;
    EXPECT_NEAR(normal_diameter(65.4064_Hz).value(), 155.5, 1e-3);
    EXPECT_NEAR(normal_diameter(middle_c).value(), 54.95, 0.05);
    EXPECT_NEAR(normal_diameter(middle_c, -10.0).value(), 35.65, 0.05);
    EXPECT_NEAR(normal_diameter(middle_c, -2.0).value(), 50.45, 0.05);
    EXPECT_NEAR(normal_diameter(middle_c, 1.0).value(), 57.45, 0.05);
    EXPECT_NEAR(normal_diameter(middle_c * std::exp2(16.0 / 12.0)) / normal_diameter(middle_c), 0.5,
                1e-12);
}

// A. Cavaillé-Coll, Comptes rendus 1860 (from memory): the body of a round open pipe is c/2f less
// 5/3 of its diameter. Another fit to real pipes than ours, so within one diameter's tenth.
TEST(Movement, BodyLengthAgainstCavailleColl) {
    for (const double hertz : {65.406, 130.813, 261.626, 523.251, 1046.502}) {
        const Hertz pitch{hertz};
        const double diameter = normal_diameter(pitch).value();
        const double rule = 1000.0 * kSpeed / (2.0 * hertz) - 5.0 / 3.0 * diameter;
        EXPECT_NEAR(body_length(PipeKind::open, pitch, normal_diameter(pitch), kSpeed).value(),
                    rule, 0.1 * diameter)
            << hertz;
    }
}

// W. E. Dickson, Practical Organ-Building (1882): stopped pipes measure "nearly or about" 4 ft at
// CC, 2 ft at tenor C, 1 ft at middle C. He halves what in truth shrinks a little faster; hence a
// tenth of the length. A narrow stopped scale.
TEST(Movement, StoppedLengthAgainstDickson) {
    constexpr double kFoot = 304.8;
    double feet = 4.0;
    for (const double hertz : {65.406, 130.813, 261.626}) {
        const Hertz pitch{hertz};
        const Millimetres narrow = normal_diameter(pitch, -10.0);
        EXPECT_NEAR(body_length(PipeKind::stopped, pitch, narrow, kSpeed).value(), feet * kFoot,
                    0.1 * feet * kFoot);
        feet /= 2.0;
    }
}

// Without corrections: open c/2f, stopped c/4f, harmonic c/f (G. L. Miller 1913, ch. X, footnote 5:
// double length). Middle C at 343.2 m/s: 655.9 and 327.9 mm.
TEST(Movement, BareLengths) {
    const Hertz middle_c = 261.6256_Hz;
    const Millimetres none{0.0};
    EXPECT_NEAR(body_length(PipeKind::open, middle_c, none, kSpeed).value(), 655.9, 0.05);
    EXPECT_NEAR(body_length(PipeKind::stopped, middle_c, none, kSpeed).value(), 327.95, 0.05);
    EXPECT_NEAR(body_length(PipeKind::harmonic, middle_c, none, kSpeed).value(), 1311.8, 0.1);
}

// An open pipe moves 1731.2 (1200 / ln 2) cents per c/2f of length: at middle C 2.64 cents a
// millimetre, a stopped one 5.28, both a little less than bare since the corrections give way.
TEST(Movement, Millimetres) {
    const Hertz middle_c = 261.6256_Hz;
    const auto check = [&](PipeKind kind, TuningDevice device, double cents, double bare_mm) {
        const Movement m = movement(pipe_of(kind, device), middle_c, Cents{cents}, kSpeed);
        ASSERT_TRUE(m.at_least && m.at_most);
        EXPECT_LE(m.at_least->value(), m.at_most->value());
        // A sleeve goes round the body: a millimetre more on a 2-inch bore is 8 % more area, and so
        // takes 8 % more movement (areas by arithmetic).
        const double sleeve = device != TuningDevice::cap ? 52.0 * 52.0 / (50.0 * 50.0) : 1.0;
        EXPECT_LE(m.at_most->value(), bare_mm * sleeve * 1.001);
        EXPECT_GE(m.at_least->value(), bare_mm * 0.93);
    };
    check(PipeKind::open, TuningDevice::sleeve, -10.0, 10.0 / 2.639);
    check(PipeKind::open, TuningDevice::sleeve, 10.0, 10.0 / 2.639);
    check(PipeKind::stopped, TuningDevice::cap, -10.0, 10.0 / 5.279);
    check(PipeKind::harmonic, TuningDevice::sleeve, -10.0, 10.0 / 1.3195);
    // Under half a millimetre nobody moves by measure.
    EXPECT_FALSE(
        movement(pipe_of(PipeKind::open, TuningDevice::sleeve), middle_c, 1_cents, kSpeed).at_most);
    EXPECT_FALSE(
        movement(pipe_of(PipeKind::open, TuningDevice::cone), middle_c, 30_cents, kSpeed).at_most);
}

}  // namespace movement_test
}  // namespace rankwright::organ

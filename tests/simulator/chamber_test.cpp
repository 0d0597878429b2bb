#include "simulator/chamber.h"

#include "one_of_each.h"
#include "support/allocation_count.h"

#include <gtest/gtest.h>

namespace rankwright::simulator {
namespace chamber_test {

PipeId pipe_of(const char* stop, int key) { return {"great", stop, 1, key}; }

std::vector<float> steady_sound(Chamber& chamber, const char* stop, int key, double seconds) {
    chamber.draw_stop("Great", stop, true);
    chamber.key_down("great", key);
    heard(chamber, 1.5);  // speech and the room's build-up
    return heard(chamber, seconds);
}

TEST(Chamber, SamePartsGiveTheSameSoundInAnyChunks) {
    const organ::Instrument instrument = one_of_each();
    Chamber::Parameters parameters;
    parameters.channels = 2;
    std::vector<std::vector<float>> sounds;
    for (const std::size_t chunk : {std::size_t{64}, std::size_t{1}, std::size_t{1000}}) {
        Chamber chamber(instrument, parameters);
        std::vector<float> sound;
        const auto play = [&](std::size_t frames) {
            for (std::size_t done = 0; done < frames;) {
                std::vector<float> part(2 * std::min(chunk, frames - done));
                chamber.render(part);
                sound.insert(sound.end(), part.begin(), part.end());
                done += part.size() / 2;
            }
        };
        chamber.draw_stop("great", "string", true);
        play(777);
        chamber.key_down("great", 30);
        play(12000);
        chamber.move_device(pipe_of("string", 30), Millimetres{0.4});
        chamber.say_next();
        chamber.knock();
        play(9001);
        chamber.key_up("great", 30);
        play(5000);
        sounds.push_back(sound);
    }
    EXPECT_EQ(sounds[0], sounds[1]);
    EXPECT_EQ(sounds[0], sounds[2]);
}

TEST(Chamber, RenderingAllocatesNothing) {
    if (!testing::allocations_are_counted()) GTEST_SKIP() << "not counted under the sanitizers";
    Chamber::Parameters parameters;
    parameters.channels = 2;
    parameters.mains = Hertz{50.0};
    Chamber chamber(one_of_each(), parameters);
    chamber.draw_stop("great", "reed-full", true);
    chamber.key_down("great", 1);
    chamber.set_tremulant(true);
    chamber.say_next();
    chamber.knock();
    std::vector<float> block(2 * 512);
    const std::size_t before = testing::allocations();
    for (int i = 0; i < 100; ++i)
        chamber.render(block);
    EXPECT_EQ(testing::allocations() - before, 0U);
}

TEST(Chamber, AnotherSeedIsAnotherChamber) {
    const organ::Instrument instrument = one_of_each();
    Chamber::Parameters parameters;
    Chamber one(instrument, parameters);
    parameters.seed = 2;
    Chamber other(instrument, parameters);
    EXPECT_NE(one.true_pitch(pipe_of("open", 20)), other.true_pitch(pipe_of("open", 20)));
    EXPECT_NE(heard(one, 0.1), heard(other, 0.1));
}

// The pitch that tests compare readings with must be the one that sounds: measured here by a long
// Hann-windowed DFT's phase, on the partials within 20 dB of the strongest. 0.02 cent = what the
// pipe's own breath leaves in 3 s.
TEST(Chamber, SteadySoundHasTheTruePitchInAllPartials) {
    const organ::Instrument instrument = one_of_each();
    for (const auto& [kind, stop] : kKinds) {
        for (const int key : {13, 37, 61}) {
            Chamber chamber(instrument, still());
            const std::vector<float> sound = steady_sound(chamber, stop, key, 3.0);
            const Hertz truth = chamber.true_pitch(pipe_of(stop, key));
            std::vector<double> levels;
            for (int k = 1; k <= 8; ++k) {
                levels.push_back(std::abs(tone(sound, 0, sound.size(), truth.value() * k)));
            }
            const double loudest = *std::max_element(levels.begin(), levels.end());
            for (int k = 1; k <= 8; ++k) {
                if (levels[static_cast<std::size_t>(k - 1)] < 0.1 * loudest) continue;
                EXPECT_NEAR(interval(truth, partial_pitch(sound, 0, truth, k)).value(), 0.0, 0.02)
                    << stop << " key " << key << " partial " << k;
            }
        }
    }
}

TEST(Chamber, CyclesGiveTheMeanPitchOfAWanderingPipe) {
    Chamber chamber(one_of_each(), Chamber::Parameters{});
    const PipeId id = pipe_of("open", 25);
    EXPECT_FALSE(chamber.cycles(id).has_value());
    chamber.draw_stop("great", "open", true);
    chamber.key_down("great", 25);
    heard(chamber, 1.0);
    const double before = chamber.cycles(id).value();
    const std::vector<float> sound = heard(chamber, 1.0);
    const Hertz mean{chamber.cycles(id).value() - before};
    EXPECT_NEAR(interval(chamber.true_pitch(id), mean).value(), 0.0, 1.5);
    // The Hann-weighted halves see the wander with other weights than the plain mean.
    EXPECT_NEAR(interval(mean, partial_pitch(sound, 0, mean, 2)).value(), 0.0, 0.3);
}

// Standard deviation of the pitch in 120 ms windows of recorded single pipes in a church: 0.1 to
// 0.6 cent above tenor C, 0.5 to 2 cents in the bottom octaves (measured on open recordings).
TEST(Chamber, PipesWanderAsRecordedOnesDo) {
    const auto spread = [](int key) {
        Chamber chamber(one_of_each(), Chamber::Parameters{});
        const PipeId id{"great", "open", 1, key};
        chamber.draw_stop("great", "open", true);
        chamber.key_down("great", key);
        heard(chamber, 1.5);
        double sum = 0.0;
        double squares = 0.0;
        constexpr int kWindows = 400;
        double before = chamber.cycles(id).value();
        for (int i = 0; i < kWindows; ++i) {
            heard(chamber, 0.12);
            const double now = chamber.cycles(id).value();
            const double cents =
                interval(chamber.true_pitch(id), Hertz{(now - before) / 0.12}).value();
            sum += cents;
            squares += cents * cents;
            before = now;
        }
        return std::sqrt(squares / kWindows - std::pow(sum / kWindows, 2));
    };
    const double low = spread(1);
    EXPECT_GT(low, 0.4);
    EXPECT_LT(low, 2.0);
    for (const int key : {25, 49}) {
        const double middle = spread(key);
        EXPECT_GT(middle, 0.1) << key;
        EXPECT_LT(middle, 0.6) << key;
    }
}

// 2.95 cents per kelvin at 20 °C: 600 / ln 2 / 293.15, from f ~ sqrt(T); ISO 9613-1:1993 (A.5)
// gives −14.89 cents from 20 to 15 °C.
TEST(Chamber, FluesFollowTheAirAndReedsTheirShare) {
    Chamber chamber(one_of_each(), still());
    const Hertz flue = chamber.true_pitch(pipe_of("open", 30));
    const Hertz reed = chamber.true_pitch(pipe_of("reed-full", 30));
    chamber.set_temperature(Celsius{21.0});
    EXPECT_NEAR(interval(flue, chamber.true_pitch(pipe_of("open", 30))).value(), 2.95, 0.01);
    chamber.set_temperature(Celsius{15.0});
    EXPECT_NEAR(interval(flue, chamber.true_pitch(pipe_of("open", 30))).value(), -14.89, 0.01);
    EXPECT_NEAR(interval(reed, chamber.true_pitch(pipe_of("reed-full", 30))).value(), -14.89 * 0.2,
                0.01);
}

TEST(Chamber, PipesAreMistunedAsAsked) {
    organ::Instrument instrument = one_of_each();
    Chamber::Parameters exact = still();
    exact.mistuning = Cents{0.0};
    Chamber tuned(instrument, exact);
    // Middle C of A 440: 261.6256 Hz (MIDI 60).
    EXPECT_NEAR(tuned.true_pitch(pipe_of("open", 25)).value(), 261.6256, 1e-4);
    exact.mistuning = Cents{8.0};
    Chamber off(instrument, exact);
    double squares = 0.0;
    int count = 0;
    for (const auto& [kind, stop] : kKinds) {
        for (int key = 1; key <= 61; ++key, ++count) {
            const PipeId id = pipe_of(stop, key);
            squares += std::pow(interval(tuned.true_pitch(id), off.true_pitch(id)).value(), 2);
        }
    }
    EXPECT_NEAR(std::sqrt(squares / count), 8.0, 0.8);
}

TEST(Chamber, NothingHappensForAPipeThatIsNotThere) {
    Chamber chamber(one_of_each(), still());
    chamber.draw_stop("great", "no such stop", true);
    chamber.key_down("pedal", 1);
    chamber.move_device(pipe_of("open", 99), Millimetres{1.0});
    EXPECT_EQ(chamber.true_pitch(pipe_of("open", 99)), Hertz{0.0});
    EXPECT_EQ(chamber.true_pitch({"great", "no-such-stop", 1, 1}), Hertz{0.0});
}

TEST(Chamber, FluesDoNotClipUnlessTheMicrophoneIsTurnedUp) {
    const organ::Instrument instrument = one_of_each();
    const auto loudest = [&](double gain_db) {
        Chamber::Parameters parameters;
        parameters.gain = Decibels{gain_db};
        Chamber chamber(instrument, parameters);
        for (const char* stop : {"open", "stopped", "string"}) {
            chamber.draw_stop("great", stop, true);
        }
        for (const int key : {1, 13, 25})
            chamber.key_down("great", key);
        float most = 0.0F;
        for (const float sample : heard(chamber, 2.0))
            most = std::max(most, std::abs(sample));
        return most;
    };
    EXPECT_LT(loudest(0.0), 0.9F);
    EXPECT_EQ(loudest(30.0), 1.0F);
}

TEST(Chamber, ASecondMicrophoneHearsOtherLevelsOfTheSamePipe) {
    Chamber::Parameters parameters = still();
    parameters.channels = 2;
    Chamber chamber(one_of_each(), parameters);
    chamber.draw_stop("great", "string", true);
    chamber.key_down("great", 20);
    heard(chamber, 1.0, 2);
    const std::vector<float> both = heard(chamber, 1.0, 2);
    std::vector<float> left, right;
    for (std::size_t i = 0; i < both.size(); i += 2) {
        left.push_back(both[i]);
        right.push_back(both[i + 1]);
    }
    const double hz = chamber.true_pitch(pipe_of("string", 20)).value();
    double most = -100.0;
    double least = 100.0;
    for (int k = 1; k <= 10; ++k) {
        const double difference = decibels(std::abs(tone(left, 0, left.size(), hz * k))) -
                                  decibels(std::abs(tone(right, 0, right.size(), hz * k)));
        most = std::max(most, difference);
        least = std::min(least, difference);
    }
    EXPECT_GT(most - least, 3.0);
}

TEST(Chamber, TheHandWarmsThePipeAndItCools) {
    Chamber::Parameters parameters = still();
    parameters.handling = 1.0;
    Chamber chamber(one_of_each(), parameters);
    const PipeId id = pipe_of("open", 37);
    chamber.draw_stop("great", "open", true);
    chamber.key_down("great", 37);
    heard(chamber, 1.0);
    for (int tap = 0; tap < 10; ++tap)
        chamber.move_device(id, Millimetres{tap % 2 ? -0.5 : 0.5});
    const auto off = [&](double seconds) {
        const double before = chamber.cycles(id).value();
        heard(chamber, seconds);
        const Hertz mean{(chamber.cycles(id).value() - before) / seconds};
        return interval(chamber.true_pitch(id), mean).value();
    };
    heard(chamber, 0.35);
    const double shaded = off(0.5);
    heard(chamber, 0.5);
    const double warm = off(0.2);
    heard(chamber, 90.0);
    const double later = off(1.0);
    EXPECT_LT(shaded, warm - 0.2);  // the body near the mouth flattens
    EXPECT_GT(warm, 1.0);           // sharp by some cents
    EXPECT_LT(warm, 7.0);
    EXPECT_LT(later, 0.6 * warm);
    EXPECT_GT(later, 0.0);
}

TEST(Chamber, AReedsWireCreepsOnUnlessSettled) {
    Chamber chamber(one_of_each(), still());
    const PipeId id = pipe_of("reed-full", 25);
    chamber.move_device(id, Millimetres{-0.1});
    const Hertz at_once = chamber.true_pitch(id);
    heard(chamber, 120.0);
    const double crept = interval(at_once, chamber.true_pitch(id)).value();
    EXPECT_GT(crept, 0.02);  // driven down it goes on sharper (Miller 1913, ch. XI)
    EXPECT_LE(crept, 1.5);
    chamber.move_device(id, Millimetres{-0.1});
    chamber.settle_wire(id);
    const Hertz settled = chamber.true_pitch(id);
    heard(chamber, 60.0);
    EXPECT_NEAR(interval(settled, chamber.true_pitch(id)).value(), 0.0, 1e-9);
}

// A tremulant recorded with an organ: period 196 ms, level 15 %.
TEST(Chamber, TremulantSwaysPitchAndLevel) {
    Chamber chamber(one_of_each(), still());
    const PipeId id = pipe_of("open", 37);
    chamber.draw_stop("great", "open", true);
    chamber.key_down("great", 37);
    chamber.set_tremulant(true);
    heard(chamber, 1.0);
    double highest = -100.0;
    double lowest = 100.0;
    for (int i = 0; i < 40; ++i) {
        const double before = chamber.cycles(id).value();
        heard(chamber, 0.01);
        const Hertz now{(chamber.cycles(id).value() - before) / 0.01};
        highest = std::max(highest, interval(chamber.true_pitch(id), now).value());
        lowest = std::min(lowest, interval(chamber.true_pitch(id), now).value());
    }
    EXPECT_GT(highest, 3.0);
    EXPECT_LT(lowest, -3.0);
}

}  // namespace chamber_test
}  // namespace rankwright::simulator

#include "overlay/drawing.h"
#include "overlay/examples.h"
#include "overlay/overlay.h"

#include <variant>

#include <gtest/gtest.h>

namespace rankwright::overlay {
namespace presses_test {

class Presses : public ::testing::Test {
  protected:
    template <typename Wanted>
    bool asks_for(const KeyPress& key) {
        const auto commands = drawing_.press(key, snapshot_);
        return commands.size() == 1 && std::holds_alternative<Wanted>(commands.front());
    }
    bool asks_for_nothing(const KeyPress& key) { return drawing_.press(key, snapshot_).empty(); }
    static KeyPress letter(char c) { return {Key::character, c, false, false}; }
    static KeyPress named(Key key) { return {key, 0, false, false}; }
    std::vector<visit::Command> type(std::string_view letters) {
        for (const char c : letters)
            EXPECT_TRUE(asks_for_nothing(letter(c))) << c;
        return drawing_.press(named(Key::enter), snapshot_);
    }

    Drawing drawing_{{1280, 800}};
    Snapshot snapshot_ = examples::base();
};

TEST_F(Presses, KeyboardAndPresenterRemoteGoThroughTheRank) {
    EXPECT_TRUE(asks_for<visit::GoNext>(named(Key::page_down)));
    EXPECT_TRUE(asks_for<visit::GoNext>(named(Key::right)));
    EXPECT_TRUE(asks_for<visit::GoNext>(letter(' ')));
    EXPECT_TRUE(asks_for<visit::GoBack>(named(Key::page_up)));
    EXPECT_TRUE(asks_for<visit::GoBack>(named(Key::left)));
    EXPECT_TRUE(asks_for<visit::TakePitchOfDay>(letter('m')));
    EXPECT_TRUE(asks_for_nothing(letter('z')));
}

TEST_F(Presses, WhatIsWrongWithAPipeIsNotedByOneDigitOrByTheRemote) {
    EXPECT_TRUE(asks_for<visit::MarkOutOfReach>(letter('x')));
    EXPECT_TRUE(asks_for<visit::Undo>(letter('u')));
    const auto noted = [&](std::initializer_list<KeyPress> keys) {
        EXPECT_TRUE(asks_for_nothing(letter('f')));
        std::vector<visit::Command> commands;
        for (const KeyPress& key : keys)
            commands = drawing_.press(key, snapshot_);
        EXPECT_EQ(commands.size(), 1U);
        return commands.empty() ? "" : std::get<visit::NoteFault>(commands.front()).fault;
    };
    EXPECT_EQ(noted({letter('4')}), "ciphers");
    EXPECT_EQ(noted({named(Key::page_down), letter('.')}), "slow of speech");
    EXPECT_TRUE(asks_for_nothing(letter('f')));
    EXPECT_TRUE(asks_for_nothing(named(Key::escape))) << "back to work, nothing noted";
}

TEST_F(Presses, ATrebleThatMayBeInANodeOfTheRoomIsntCalledDeadAtOnce) {
    snapshot_.unheard_treble = true;
    EXPECT_TRUE(asks_for_nothing(letter('f')));
    EXPECT_TRUE(asks_for_nothing(letter('1'))) << "not offered";
    EXPECT_TRUE(asks_for_nothing(named(Key::enter)));
    EXPECT_TRUE(asks_for<visit::NoteFault>(letter('2'))) << "the list is open still";
    snapshot_.unheard_treble = false;
    EXPECT_TRUE(asks_for_nothing(letter('f')));
    EXPECT_TRUE(asks_for<visit::NoteFault>(letter('1'))) << "heard a second time";
}

TEST_F(Presses, LeavingAsksWhetherTheVisitIsOver) {
    EXPECT_TRUE(asks_for_nothing(letter('q')));
    EXPECT_TRUE(asks_for<visit::Quit>(named(Key::enter))) << "to go on another time";
    EXPECT_TRUE(asks_for_nothing(letter('q')));
    const auto over = drawing_.press(letter('e'), snapshot_);
    ASSERT_EQ(over.size(), 2U);
    EXPECT_TRUE(std::holds_alternative<visit::EndVisit>(over[0]));
    EXPECT_TRUE(std::holds_alternative<visit::Quit>(over[1]));
}

TEST_F(Presses, AnotherStopIsTakenFromTheList) {
    snapshot_.stops = {{{"great", "octave-4"}, "Great", "Octave 4′", false},
                       {{"great", "principal-8"}, "Great", "Principal 8′", true},
                       {{"swell", "gamba-8"}, "Swell", "Gamba 8′", false}};
    const auto taken = [&](std::initializer_list<KeyPress> keys) {
        EXPECT_TRUE(asks_for_nothing(letter('s')));
        std::vector<visit::Command> commands;
        for (const KeyPress& key : keys)
            commands = drawing_.press(key, snapshot_);
        EXPECT_EQ(commands.size(), 1U);
        return commands.empty() ? StopId{} : std::get<visit::TakeStop>(commands.front()).stop;
    };
    EXPECT_EQ(taken({named(Key::enter)}), (StopId{"great", "principal-8"})) << "the one in hand";
    EXPECT_EQ(taken({named(Key::up), named(Key::enter)}), (StopId{"great", "octave-4"}));
    // Page down and point: all that a presenter remote has.
    EXPECT_EQ(taken({named(Key::page_down), letter('.')}), (StopId{"swell", "gamba-8"}));
    EXPECT_EQ(taken({named(Key::right), named(Key::left), named(Key::enter)}),
              (StopId{"great", "octave-4"}));
    EXPECT_TRUE(asks_for_nothing(letter('s')));
    EXPECT_TRUE(asks_for_nothing(named(Key::escape)));
    EXPECT_TRUE(asks_for<visit::GoNext>(named(Key::page_down))) << "back at the work";
}

TEST_F(Presses, APipeIsHeardAloneOnlyWhereItHasAReference) {
    snapshot_.reference.clear();
    EXPECT_TRUE(asks_for_nothing(letter('a')));
    snapshot_.reference = "Octave 4′";
    EXPECT_TRUE(asks_for<visit::HearAlone>(letter('a')));
    snapshot_.reference.clear();
    snapshot_.alone = true;
    EXPECT_TRUE(asks_for<visit::HearAlone>(letter('a'))) << "and with it again";
}

TEST_F(Presses, AtAMixtureTheKeyIsHeardWholeAndSimulatedMutesAreMoved) {
    EXPECT_TRUE(asks_for_nothing(letter('w')));
    EXPECT_TRUE(asks_for_nothing(letter('c')));
    snapshot_ = examples::at_a_mixture(examples::base());
    EXPECT_TRUE(asks_for<visit::HearWhole>(letter('w')));
    EXPECT_TRUE(asks_for_nothing(letter('c'))) << "real hands move real mutes";
    snapshot_.simulated = true;
    const auto well = drawing_.press(letter('c'), snapshot_);
    ASSERT_EQ(well.size(), 1U);
    EXPECT_FALSE(std::get<visit::MoveMutes>(well.front()).leak);
    const auto badly = drawing_.press({Key::character, 'c', true, false}, snapshot_);
    ASSERT_EQ(badly.size(), 1U);
    EXPECT_TRUE(std::get<visit::MoveMutes>(badly.front()).leak);
}

TEST_F(Presses, ThePointTakesThisPipeAgain) {
    const auto commands = drawing_.press('.', snapshot_);
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_EQ(std::get<visit::GoToKey>(commands.front()).key, snapshot_.key);
}

TEST_F(Presses, AHeldKeyGoesOnOnce) {
    EXPECT_TRUE(asks_for_nothing({Key::page_down, 0, false, true}));
}

TEST_F(Presses, SeveralPressesOfOneFrameKeepTheirOrder) {
    drawing_.overlay.press(named(Key::page_down));
    drawing_.overlay.press(letter('m'));
    drawing_.overlay.press(named(Key::page_up));
    const auto commands = drawing_.draw(snapshot_);
    ASSERT_EQ(commands.size(), 3U);
    EXPECT_TRUE(std::holds_alternative<visit::GoNext>(commands[0]));
    EXPECT_TRUE(std::holds_alternative<visit::TakePitchOfDay>(commands[1]));
    EXPECT_TRUE(std::holds_alternative<visit::GoBack>(commands[2]));
}

TEST_F(Presses, ArrowsMoveTheDeviceOfASimulatedPipeOnly) {
    EXPECT_TRUE(asks_for_nothing(named(Key::up)));
    snapshot_.simulated = true;
    const auto step = [&](Key key, bool shift) {
        const auto commands = drawing_.press({key, 0, shift, false}, snapshot_);
        return std::get<visit::MoveDevice>(commands.at(0)).by.value();
    };
    EXPECT_GT(step(Key::up, false), 0.0);
    EXPECT_EQ(step(Key::down, false), -step(Key::up, false));
    EXPECT_GT(step(Key::up, true), 5.0 * step(Key::up, false));
    EXPECT_TRUE(asks_for<visit::MoveDevice>({Key::up, 0, false, true})) << "held down";
}

TEST_F(Presses, AStepOfTheHandIsAFractionOfACentOfAnOpenPipe) {
    // The length of an open pipe goes as 1/f: one step changes it by less than a cent's share
    // (2^(1/1200) − 1 = 0.000578, by definition of the cent) in the bass and in the treble.
    for (const double hz : {65.4, 393.1, 4186.0}) {
        snapshot_.target = Hertz{hz};
        const double length_mm = 343000.0 / (2.0 * hz);
        EXPECT_LT(hand_step(snapshot_, false).value() / length_mm, 0.000578);
        EXPECT_GT(hand_step(snapshot_, false).value() / length_mm, 0.0001);
    }
}

TEST_F(Presses, ATemperatureIsTypedInEitherUnit) {
    EXPECT_TRUE(asks_for_nothing(letter('t')));
    auto commands = type("21,3");
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_DOUBLE_EQ(std::get<visit::SetTemperature>(commands[0]).to.value(), 21.3);
    // 68 °F is 20 °C by the definition of the Fahrenheit scale.
    EXPECT_TRUE(asks_for_nothing(letter('t')));
    commands = type("68f");
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_NEAR(std::get<visit::SetTemperature>(commands[0]).to.value(), 20.0, 1e-9);
}

TEST_F(Presses, AnImpossibleValueIsRefusedWithItsReason) {
    drawing_.press('t', snapshot_);
    EXPECT_TRUE(type("68").empty());
    EXPECT_TRUE(drawing_.says("Between −10 and 50 °C"));
    drawing_.press('f', snapshot_);
    EXPECT_EQ(drawing_.press({Key::enter, 0, false, false}, snapshot_).size(), 1U);

    drawing_.press('p', snapshot_);
    EXPECT_TRUE(type("4413").empty());
    EXPECT_TRUE(drawing_.says("Between 370 and 570"));
    EXPECT_TRUE(asks_for_nothing(named(Key::escape)));
    EXPECT_TRUE(asks_for<visit::GoNext>(named(Key::page_down))) << "the entry is closed";
}

TEST_F(Presses, ThePitchOfTheDayIsTypedOrMeasuredAgain) {
    drawing_.press('p', snapshot_);
    auto commands = type("441.3");
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_DOUBLE_EQ(std::get<visit::SetPitch>(commands[0]).to.value(), 441.3);
    drawing_.press('p', snapshot_);
    commands = type("0");
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_EQ(std::get<visit::SetPitch>(commands[0]).to.value(), 0.0);
}

TEST_F(Presses, AKeyIsReachedByItsNumber) {
    auto commands = type("49");
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_EQ(std::get<visit::GoToKey>(commands[0]).key, 49);
    drawing_.press('g', snapshot_);
    EXPECT_TRUE(type("62").empty()) << "the chest has 61";
    EXPECT_TRUE(drawing_.says("1 to 61"));
}

TEST_F(Presses, LeavingIsAskedFirst) {
    EXPECT_TRUE(asks_for_nothing(letter('q')));
    EXPECT_TRUE(drawing_.says("leave the work?"));
    EXPECT_TRUE(asks_for_nothing(named(Key::page_down))) << "stays, and only that";
    EXPECT_FALSE(drawing_.says("leave the work?"));
    EXPECT_TRUE(asks_for_nothing(named(Key::escape)));
    EXPECT_TRUE(asks_for<visit::Quit>(named(Key::enter)));
}

TEST_F(Presses, HelpNamesEveryKeyAndTheCautions) {
    drawing_.press('h', snapshot_);
    for (const char* words : {"Page down", "Page up", ". (point)", "T", "P", "M", "G or a digit",
                              "Q or Esc", "take care", "hearing", "lead"})
        EXPECT_TRUE(drawing_.says(words)) << words;
    EXPECT_TRUE(asks_for_nothing(named(Key::page_down)));
    EXPECT_FALSE(drawing_.says("take care"));
}

TEST(ValueEntryTest, HumidityFollowsTheTemperatureAfterASpace) {
    const auto typed = [](std::string_view letters) {
        ValueEntry entry(ValueEntry::What::temperature, 0);
        for (const char letter : letters)
            entry.press({Key::character, letter});
        return entry.press({Key::enter});
    };
    const auto moist = typed("18.5 45");
    ASSERT_TRUE(moist.command);
    const auto& set = std::get<visit::SetTemperature>(*moist.command);
    EXPECT_DOUBLE_EQ(set.to.value(), 18.5);
    ASSERT_TRUE(set.humidity);
    EXPECT_DOUBLE_EQ(*set.humidity, 0.45);
    EXPECT_FALSE(std::get<visit::SetTemperature>(*typed("18.5").command).humidity);
    EXPECT_FALSE(typed("18.5 145").done);
    EXPECT_FALSE(typed("18.5 ").done);
}

}  // namespace presses_test
}  // namespace rankwright::overlay

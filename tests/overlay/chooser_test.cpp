#include "overlay/chooser.h"

#include "overlay/drawing.h"

#include <gtest/gtest.h>

namespace rankwright::overlay {
namespace chooser_test {

Choices choices() {
    Choices some;
    some.instruments = {{"Saint Ebba, Harrow Fold", "ebba.toml"},
                        {"Chapel of the Fells", "fells.toml"}};
    some.inputs = {{"built-in microphone", "48 kHz"}, {"simulated chamber", "for practice"}};
    return some;
}

KeyPress named(Key key) { return {key, 0, false, false}; }

TEST(Chooser, AnInstrumentThenAnInput) {
    const Choices some = choices();
    Chooser chooser;
    chooser.press(named(Key::down), some);
    chooser.press(named(Key::enter), some);
    EXPECT_EQ(chooser.state(), Chooser::State::choosing);
    chooser.press(named(Key::down), some);
    chooser.press(named(Key::down), some);
    chooser.press(named(Key::enter), some);
    ASSERT_EQ(chooser.state(), Chooser::State::chosen);
    EXPECT_FALSE(chooser.choice().go_on);
    EXPECT_EQ(chooser.choice().instrument, 1U);
    EXPECT_EQ(chooser.choice().input, 1U);
}

TEST(Chooser, ALastVisitIsOfferedFirst) {
    Choices some = choices();
    some.last_visit = "Saint Ebba, Great Principal 8′, 12 of 61 settled";
    Chooser chooser;
    chooser.press(named(Key::enter), some);
    ASSERT_EQ(chooser.state(), Chooser::State::chosen);
    EXPECT_TRUE(chooser.choice().go_on);
}

TEST(Chooser, ARemoteCanChoose) {
    const Choices some = choices();
    Chooser chooser;
    chooser.press(named(Key::page_down), some);
    chooser.press({Key::character, '.', false, false}, some);
    chooser.press({Key::character, '.', false, false}, some);
    ASSERT_EQ(chooser.state(), Chooser::State::chosen);
    EXPECT_EQ(chooser.choice().instrument, 1U);
}

TEST(Chooser, NothingCanBeChosenFromNothing) {
    const Choices none;
    Chooser chooser;
    chooser.press(named(Key::enter), none);
    chooser.press(named(Key::tab), none);
    chooser.press(named(Key::enter), none);
    EXPECT_EQ(chooser.state(), Chooser::State::choosing);
    chooser.press({Key::character, 'q', false, false}, none);
    EXPECT_EQ(chooser.state(), Chooser::State::left);
}

TEST(Chooser, WhatIsLitIsAlwaysVisible) {
    Choices many = choices();
    for (int i = 0; i < 40; ++i)
        many.instruments.push_back({"organ " + std::to_string(i), "a file"});
    Chooser chooser;
    for (int i = 0; i < 30; ++i)
        chooser.press(named(Key::down), many);
    const Size window{1280, 800};
    Drawing drawing(window);
    ImGui::NewFrame();
    drawing.overlay.draw_chooser(chooser, many, window);
    ImGui::Render();
    EXPECT_TRUE(drawing.says("organ 28")) << "the 31st of the list";
    for (const DrawnText& text : drawing.overlay.drawn_texts()) {
        EXPECT_GE(text.box.top, 0.0F) << text.words;
        EXPECT_LE(text.box.bottom, 800.0F) << text.words;
    }
}

}  // namespace chooser_test
}  // namespace rankwright::overlay

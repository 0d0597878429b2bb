#include "overlay/overlay.h"

#include "overlay/drawing.h"
#include "overlay/examples.h"

#include <cmath>
#include <numbers>
#include <stdexcept>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::overlay {
namespace overlay_test {

// Sixteen minutes of arc at two metres on a screen 30 cm and 1280 pixels wide.
const double kLegible = 2000.0 * std::tan(16.0 / 60.0 * std::numbers::pi / 180.0) * 1280.0 / 300.0;
// The least type size, at which a line is as high from the tops of "l" to the feet of "p".
constexpr float kLadderLine = 54.0F;

const Size kWindows[] = {{1280, 800}, {1024, 600}, {1024, 768}, {1920, 1080}, {3840, 2160}};

const Snapshot& example(const std::vector<examples::Example>& all, const std::string& name) {
    for (const auto& one : all)
        if (one.name == name) return one.snapshot;
    throw std::out_of_range(name);
}

// The drawn height of a capital, in pixels of a window 1280 wide.
double capital_height(const DrawnText& text) {
    const ImFontGlyph* h = text.face->FindGlyph('H');
    return (h->Y1 - h->Y0) / text.face->FontSize * text.em * (1901.0 + 483.0) / 2048.0;
}

void expect_from_the_ladder(const Drawing& drawing, const std::string& words) {
    const DrawnText* text = drawing.largest(words);
    ASSERT_NE(text, nullptr) << "\"" << words << "\" isn't drawn";
    EXPECT_GE(text->em, kLadderLine) << words;
    EXPECT_GE(capital_height(*text), kLegible) << words;
}

TEST(Overlay, WhatIsReadFromTheLadderIsLargeEnough) {
    Drawing drawing({1280, 800});
    const auto all = examples::all();
    drawing.draw(example(all, "sharp-open"));
    for (const char* words : {"sharp", "3.2", "cents", "sleeve", "up", "middle", "G", "27 of 61"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "flat-stopped-wood"));
    for (const char* words : {"flat", "12.4", "down"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "kept"));
    for (const char* words : {"kept", "28 of 61"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "held"));
    expect_from_the_ladder(drawing, "27 of 61");
    expect_from_the_ladder(drawing, "settled");  // not "kept" before it is on disk
    drawing.draw(example(all, "settled"));
    for (const char* words : {"settled", "A", "28 of 61"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "wrong-key"));
    for (const char* words : {"another key", "tenor E"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "undecided"));
    for (const char* words : {"off by less than", "0.3"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "mixture-tuning"));
    for (const char* words : {"flat", "4.2", "cone", "out", "G", "2′", "1 1/3′", "3"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "mixture-wrong-pipe"));
    for (const char* words : {"another pipe", "1 1/3′"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "mixture-settled"));
    for (const char* words : {"settled", "2′", "1 1/3′"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "mixture-whole"));
    for (const char* words : {"go to", "1 1/3′", "flat ", "6.3"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "mixture-either-row"));
    for (const char* words : {"go to", "1 1/3′", "row 3 or 4", "flat ", "6.3"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "mixture-untold"));
    for (const char* words : {"behind 2′", "1′ may hide behind"})
        EXPECT_TRUE(drawing.says(words)) << words;
}

TEST(Overlay, ThatNothingIsLeftToTuneIsReadFromTheLadder) {
    Drawing drawing({1280, 800});
    const auto all = examples::all();
    drawing.draw(example(all, "two-stay-open"));
    for (const char* words : {"nothing else to tune", "2 pipes stay as they are:", "left open",
                              "out of reach", "R: report · Q: mutes out, leave"})
        expect_from_the_ladder(drawing, words);
    for (const char* words : {"tenor G", "middle G", "leave, and start with --list"})
        EXPECT_TRUE(drawing.says(words)) << words;
    drawing.draw(example(all, "many-stay-open"));
    expect_from_the_ladder(drawing, "9 pipes stay as they are:");
    expect_from_the_ladder(drawing, "and 6 more: L");
    drawing.draw(example(all, "all-done"));
    expect_from_the_ladder(drawing, "every pipe is done");
}

TEST(Overlay, ASurveyIsReadFromTheLadder) {
    Drawing drawing({1280, 800});
    const auto all = examples::all();
    drawing.draw(example(all, "survey"));
    for (const char* words : {"middle", "G", "sharp", "3.2", "cents", "32 of 61", "31",
                              "rank 8.2 cents flat", "23 of 32 out of tune"})
        expect_from_the_ladder(drawing, words);
    for (const char* words : {"± 0.2", "1.8 flat", "more"})
        EXPECT_TRUE(drawing.says(words)) << words;
    drawing.draw(example(all, "survey-done"));
    for (const char* words : {"rank heard", "23 for the work list", "32 of 61"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "survey-wrong-stop"));
    expect_from_the_ladder(drawing, "another stop is drawn");
    EXPECT_TRUE(drawing.says("nothing is kept"));
    drawing.draw(example(all, "survey-not-begun"));
    expect_from_the_ladder(drawing, "listening");
}

TEST(Overlay, BeatsFromAReferenceAreReadFromTheLadderToo) {
    Drawing drawing({1280, 800});
    const auto all = examples::all();
    drawing.draw(example(all, "beating-sharp"));
    for (const char* words : {"sharp", "0.42", "wire", "up", "G"})
        expect_from_the_ladder(drawing, words);
    for (const char* words : {"beats", "a second", "1:2", "4:8", "from Octave 4′", "Principal 8′"})
        EXPECT_TRUE(drawing.says(words)) << words;
    drawing.draw(example(all, "beating-under"));
    for (const char* words : {"under", "0.05"})
        expect_from_the_ladder(drawing, words);
    for (const char* words : {"sharp", "flat of"})
        EXPECT_EQ(drawing.largest(words), nullptr) << words;
    drawing.draw(example(all, "beating-celeste"));
    for (const char* words : {"flat", "0.50", "down"})
        expect_from_the_ladder(drawing, words);
    EXPECT_TRUE(drawing.says("wanted 1.80 sharp"));
    drawing.draw(example(all, "beating-two-keys"));
    for (const char* words : {"middle G", "tenor G"})
        expect_from_the_ladder(drawing, words);
    drawing.draw(example(all, "reference-alone"));
    for (const char* words : {"reference alone", "Octave 4′"})
        expect_from_the_ladder(drawing, words);
    EXPECT_TRUE(drawing.says("2.1 cents sharp of its target"));
    Snapshot one_pitch = example(all, "reference-alone");
    one_pitch.perhaps_both = true;
    drawing.draw(one_pitch);
    expect_from_the_ladder(drawing, "one pitch");
    EXPECT_TRUE(drawing.says("both in tune"));
    EXPECT_EQ(drawing.largest("reference alone"), nullptr) << "two in tune sound as one";
    drawing.draw(example(all, "pulled-together"));
    expect_from_the_ladder(drawing, "pulled together");
    EXPECT_FALSE(drawing.says("a second")) << "a beat that tells nothing isn't shown";
    drawing.draw(example(all, "beating-copied"));
    EXPECT_TRUE(drawing.says("copies"));
}

TEST(Overlay, TroubleIsLargeEnoughWhereverItStands) {
    const auto all = examples::all();
    for (const char* name : {"device-gone", "overloaded"}) {
        Drawing drawing({1280, 800});
        drawing.draw(example(all, name));
        const auto& texts = drawing.overlay.drawn_texts();
        const auto line = std::find_if(texts.begin(), texts.end(), [](const DrawnText& text) {
            return text.words.starts_with("The") && text.em > kLarge;
        });
        ASSERT_NE(line, texts.end()) << name;
        EXPECT_GE(line->em, kLadderLine) << line->words;
    }
}

TEST(Overlay, TextStaysInsideTheWindowAndApart) {
    for (const Size window : kWindows) {
        Drawing drawing(window);
        const float width = window.width / drawing.unit();
        const float height = window.height / drawing.unit();
        for (const auto& [name, snapshot] : examples::all()) {
            SCOPED_TRACE(name + " at " + std::to_string(window.width));
            drawing.draw(snapshot);
            const auto& texts = drawing.overlay.drawn_texts();
            for (std::size_t i = 0; i < texts.size(); ++i) {
                const Rect& a = texts[i].box;
                EXPECT_GE(a.left, 0.0F) << texts[i].words;
                EXPECT_GE(a.top, 0.0F) << texts[i].words;
                EXPECT_LE(a.right, width + 0.5F) << texts[i].words;
                EXPECT_LE(a.bottom, height + 0.5F) << texts[i].words;
                for (std::size_t j = 0; j < i; ++j) {
                    const Rect& b = texts[j].box;
                    const float across = std::min(a.right, b.right) - std::max(a.left, b.left);
                    const float down = std::min(a.bottom, b.bottom) - std::max(a.top, b.top);
                    // A descender may reach a little into the next line's ascenders.
                    EXPECT_FALSE(across > 1.0F && down > 4.0F)
                        << "\"" << texts[i].words << "\" lies on \"" << texts[j].words << "\"";
                }
            }
        }
    }
}

TEST(Overlay, EverythingDrawnLiesInsideTheWindow) {
    for (const Size window : kWindows) {
        Drawing drawing(window);
        for (const auto& [name, snapshot] : examples::all()) {
            drawing.draw(snapshot);
            const ImDrawData* data = ImGui::GetDrawData();
            ASSERT_GT(data->TotalVtxCount, 0) << name;
            constexpr float kSoftEdge = 3.0F;
            for (int l = 0; l < data->CmdListsCount; ++l)
                for (const ImDrawVert& corner : data->CmdLists[l]->VtxBuffer) {
                    EXPECT_GE(corner.pos.x, -kSoftEdge) << name;
                    EXPECT_GE(corner.pos.y, -kSoftEdge) << name;
                    EXPECT_LE(corner.pos.x, window.width + kSoftEdge) << name;
                    EXPECT_LE(corner.pos.y, window.height + kSoftEdge) << name;
                }
        }
    }
}

TEST(Overlay, EveryLetterHasItsGlyph) {
    Drawing drawing({1280, 800});
    ASSERT_EQ(drawing.overlay.fonts().trouble(), "") << "install fonts-dejavu-core";
    for (const auto& [name, snapshot] : examples::all()) {
        drawing.draw(snapshot);
        for (const DrawnText& text : drawing.overlay.drawn_texts()) {
            for (std::size_t i = 0; i < text.words.size();) {
                const auto lead = static_cast<unsigned char>(text.words[i]);
                const std::size_t length = lead < 0x80 ? 1 : lead < 0xE0 ? 2 : lead < 0xF0 ? 3 : 4;
                unsigned code = length == 1 ? lead : lead & (0x7FU >> length);
                for (std::size_t k = 1; k < length; ++k)
                    code = code << 6U | (static_cast<unsigned char>(text.words[i + k]) & 0x3FU);
                EXPECT_NE(text.face->FindGlyphNoFallback(static_cast<ImWchar>(code)), nullptr)
                    << "U+" << std::hex << code << " in \"" << text.words << "\"";
                i += length;
            }
        }
    }
}

TEST(Overlay, NothingIsShownWhereNothingIsKnown) {
    Drawing drawing({1280, 800});
    const auto all = examples::all();
    for (const char* name : {"waiting", "speaking", "wrong-key", "device-gone", "nothing-known"}) {
        drawing.draw(example(all, name));
        for (const char* words : {"cents", "sharp", "flat", "beats", "±", "heard for"})
            EXPECT_FALSE(drawing.says(words)) << name << " says " << words;
    }
    Snapshot unknown = example(all, "sharp-open");
    unknown.beats.reset();
    unknown.uncertainty.reset();
    unknown.temperature.reset();
    unknown.pitch_of_day.reset();
    drawing.draw(unknown);
    for (const char* words : {"beats a second", "±", "°C", "A 441"})
        EXPECT_FALSE(drawing.says(words)) << words;
}

TEST(Overlay, SettledIsToldByWordAndByThePlateAlone) {
    Drawing drawing({1280, 800});
    const auto all = examples::all();
    drawing.draw(example(all, "settled"));
    EXPECT_TRUE(drawing.says("hands"));
    EXPECT_TRUE(drawing.says("call next"));
    for (const auto& [name, snapshot] : all) {
        if (snapshot.stage == Stage::settled) continue;
        drawing.draw(snapshot);
        const DrawnText* word = drawing.largest("settled");
        EXPECT_TRUE(word == nullptr || word->em < kLarge) << name;
        EXPECT_FALSE(drawing.says("hands") && snapshot.notices.empty()) << name;
    }
}

TEST(Overlay, RibbonsGoIntoTheListOnlyWhenThereAreAny) {
    Drawing drawing({1280, 800});
    const auto callbacks = [] {
        int count = 0;
        const ImDrawData* data = ImGui::GetDrawData();
        for (int l = 0; l < data->CmdListsCount; ++l)
            for (const ImDrawCmd& command : data->CmdLists[l]->CmdBuffer)
                if (command.UserCallback != nullptr) ++count;
        return count;
    };
    drawing.draw(examples::base());
    EXPECT_EQ(callbacks(), 0);
    drawing.draw(examples::reading(3.0, 0.1, 2.0));
    EXPECT_EQ(callbacks(), 2) << "the painter, and ImGui's state afterwards";
}

}  // namespace overlay_test
}  // namespace rankwright::overlay

// What `rankwright mixture` says of pipes that it can't tell.
#include "app/mixture.h"
#include "app/mixture_untold.h"

#include <string>
#include <utility>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace mixture_words_test {

using listening::MixturePipeReading;
using listening::MixtureRequest;
using listening::Presence;
using listening::Untold;

struct MixtureWords : ::testing::Test {
    MixtureRequest request;
    MixturePipeReading pipe;
    MixtureWords() {
        request.pipes = {{3, 1}, {4, 1}, {6, 1}, {4, 1}};
        pipe.untold = Untold::hidden;
    }
    std::string said() const { return untold_words(pipe, request, Seconds{4.8}); }
    bool says(const std::string& words) const { return said().find(words) != std::string::npos; }
};

TEST_F(MixtureWords, PipesOfOnePitchAreNamedApart) {
    EXPECT_EQ(pipe_name(request, 0), "3");
    EXPECT_EQ(pipe_name(request, 1), "first 4");
    EXPECT_EQ(pipe_name(request, 3), "second 4");
    EXPECT_EQ(pipe_name(request, 4), "the reference");
    pipe.unresolved_with = {1, 3};
    pipe.to_part = Seconds{3.4};
    EXPECT_TRUE(says("first 4 and second 4")) << said();
}

TEST_F(MixtureWords, ATimeIsToldThatCanBeHeardOtherwiseWhatToMute) {
    pipe.unresolved_with = {0};
    pipe.to_part = Seconds{3.4};
    EXPECT_TRUE(says("hear 3.4 s")) << said();
    EXPECT_FALSE(says("mute")) << said();
    pipe.to_part = Seconds{23.0};
    EXPECT_TRUE(says("23 s") && says("mute 3")) << said();
    pipe.to_part.reset();
    pipe.mute_one = true;
    EXPECT_TRUE(says("no length of hearing") && says("mute 3")) << said();
    pipe.unresolved_with = {4};
    EXPECT_TRUE(says("without the reference")) << said();
}

TEST_F(MixtureWords, EveryReasonSaysWhatToDo) {
    pipe.unresolved_with = {0};
    pipe.mute_one = true;
    pipe.stray = Cents{-31.0};
    const std::pair<Untold, const char*> advice[] = {
        {Untold::hidden, "mute"},           {Untold::soft, "mute the loudest"},
        {Untold::noise, "nearer"},          {Untold::crowded, "hear"},
        {Untold::above, "record at"},       {Untold::stray, "31 cents flat"},
        {Untold::unsteady, "too unsteady"}, {Untold::channels, "in one of the channels"}};
    for (const auto& [reason, words] : advice) {
        pipe.untold = reason;
        EXPECT_TRUE(says(words)) << said();
    }
}

// Whoever has read the one knows the other.
TEST_F(MixtureWords, TheCommandGivesTheScreensReasonAndRemedy) {
    pipe.stray = Cents{12.0};
    for (const Untold reason : {Untold::soft, Untold::noise, Untold::crowded, Untold::above,
                                Untold::stray, Untold::unsteady, Untold::channels}) {
        pipe.untold = reason;
        const UntoldWords screen = words_for({reason, {}, pipe.stray});
        EXPECT_EQ(said(), "can't be told yet: it " + screen.because + " (" + screen.remedy + ")");
        EXPECT_FALSE(screen.brief.empty() || screen.remedy.empty());
    }
}

TEST_F(MixtureWords, WhatMayHideAPipeIsNamed) {
    EXPECT_EQ(words_for({Untold::hidden, {"4′"}, {}}).brief, "behind 4′");
    EXPECT_EQ(words_for({Untold::hidden, {"4′", "2′"}, {}}).because, "may hide behind 4′ and 2′");
    EXPECT_EQ(words_for({Untold::hidden, {}, {}}).brief, "behind the reference");
}

TEST_F(MixtureWords, NothingIsSaidOfWhatIsTold) {
    pipe.presence = Presence::sounding;
    pipe.untold.reset();
    EXPECT_EQ(said(), "");
    pipe.unresolved_with = {0};
    pipe.to_part = Seconds{3.0};
    EXPECT_TRUE(says("not yet told from 3 (hear 3.0 s or more)")) << said();
}

}  // namespace mixture_words_test
}  // namespace rankwright::app

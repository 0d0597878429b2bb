// Findings told to a person: few lines, however many pipes are off (common practice, no source).
#include "visit/survey_words.h"

#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace survey_words_test {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

organ::Pipe pipe(int key, const std::string& note) {
    organ::Pipe one;
    one.key = key;
    one.note = note;
    return one;
}

Finding of_pipe(FindingKind kind, int key, double cents = 0.0) {
    Finding finding;
    finding.kind = kind;
    finding.pipe = pipe(key, "note " + std::to_string(key));
    finding.deviation = Cents{cents};
    finding.words = "words of " + std::to_string(key);
    return finding;
}

std::vector<Finding> many_off(int count) {
    Finding trend;
    trend.kind = FindingKind::trend;
    trend.deviation = Cents{-8.2};
    trend.words = "the whole rank stands flat";
    std::vector<Finding> findings{trend, of_pipe(FindingKind::cipher, 40)};
    for (int key = 1; key <= count; ++key)
        findings.push_back(of_pipe(FindingKind::out_of_tune, key, 30.0 - key));
    return findings;
}

TEST(SurveyWords, FiftyPipesAreALineAndTheWorstByName) {
    const ToldSurvey all = told(many_off(50), 61, 8);
    EXPECT_THAT(all.whole, ElementsAre("the whole rank stands flat"));
    EXPECT_THAT(all.pipes, ElementsAre("words of 40"));
    EXPECT_THAT(all.tuning, HasSubstr("50 of 61 pipes"));
    EXPECT_THAT(all.tuning, HasSubstr("once in three seconds"));
    EXPECT_THAT(all.tuning, HasSubstr("from where the rank"));
    ASSERT_EQ(all.worst.size(), 8U);
    EXPECT_EQ(all.worst.front(), "words of 1");
    EXPECT_EQ(all.others, 42U);
}

TEST(SurveyWords, ARankInTuneHasNoLine) {
    const ToldSurvey none = told({}, 61, 8);
    EXPECT_THAT(none.whole, IsEmpty());
    EXPECT_THAT(none.tuning, IsEmpty());
    EXPECT_EQ(none.others, 0U);
    EXPECT_THAT(brief({}, 61), IsEmpty());
}

TEST(SurveyWords, OnTheScreenTheWholeComesFirstThenHowManyThenPipes) {
    EXPECT_THAT(brief(many_off(2), 20),
                ElementsAre("rank 8.2 cents flat", "2 of 20 out of tune", "note 40 ciphers",
                            "note 1 29.0 cents sharp", "note 2 28.0 cents sharp"));
}

TEST(SurveyWords, NeighboursAreDrawnTogether) {
    EXPECT_EQ(notes_of({pipe(2, "CC♯"), pipe(3, "DD"), pipe(4, "DD♯"), pipe(9, "GG♯")}),
              "CC♯ to DD♯, GG♯");
    EXPECT_EQ(notes_of({}), "");
}

}  // namespace survey_words_test
}  // namespace rankwright::visit

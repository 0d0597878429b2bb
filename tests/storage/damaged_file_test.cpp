// Files that nobody meant to write: cut off, scrambled, with bytes and lines changed.
#include "storage/examples.h"
#include "storage/instrument_file.h"

#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace damaged_file_test {

using ::testing::ElementsAre;
using ::testing::HasSubstr;

void expect_sound_or_placed(const std::string& text, const std::string& how) {
    const LoadedInstrument loaded = read_instrument(text, "damaged.toml");
    if (loaded) {
        for (const organ::Pipe& pipe : organ::pipes(*loaded))
            ASSERT_GT(pipe.ratio, 0.0) << how;
        return;
    }
    ASSERT_FALSE(loaded.error().empty()) << how;
    const int lines = 1 + static_cast<int>(std::count(text.begin(), text.end(), '\n'));
    for (const Error& error : loaded.error()) {
        ASSERT_TRUE(error.where) << how << error.message;
        EXPECT_GE(error.where->line, 1) << how << error.message;
        EXPECT_LE(error.where->line, lines + 1) << how << error.message;
        EXPECT_GE(error.where->column, 1) << how << error.message;
        EXPECT_FALSE(error.message.empty()) << how;
    }
}

class Damaged : public ::testing::TestWithParam<int> {};

TEST_P(Damaged, NeverCrashesAndAlwaysSaysWhere) {
    std::mt19937 random(static_cast<unsigned>(GetParam()));
    const auto files = example_files();
    const std::string sound =
        text_of_file(files[static_cast<std::size_t>(GetParam()) % files.size()]);
    constexpr std::string_view kBytes = "\"'[]{}=,.#\n \\-0123456789aZ\0\x80\xC3\xFF";
    for (int round = 0; round < 40; ++round) {
        std::string text = sound;
        const auto at = [&] { return random() % text.size(); };
        for (unsigned edit = random() % 4; edit < 4; ++edit) {
            switch (random() % 5) {
                case 0:
                    text[at()] = kBytes[random() % kBytes.size()];
                    break;
                case 1:
                    text.erase(at(), 1 + random() % 40);
                    break;
                case 2:
                    text.insert(at(), 1, kBytes[random() % kBytes.size()]);
                    break;
                case 3: {
                    const std::string piece = text.substr(at(), random() % 200);
                    text.insert(at(), piece);
                    break;
                }
                default:
                    if (text.size() > 400) text.resize(text.size() - random() % 300);
            }
        }
        expect_sound_or_placed(
            text, "seed " + std::to_string(GetParam()) + ", round " + std::to_string(round) + ": ");
    }
}

INSTANTIATE_TEST_SUITE_P(Files, Damaged, ::testing::Range(1, 13));

// Every value in turn replaced by one of another kind.
TEST(DamagedFile, ValuesOfAnyOtherType) {
    for (const auto& path : example_files()) {
        const std::string sound = text_of_file(path);
        for (const char* value : {"true", "-1", "1e300", "nan", "\"\"", "[]", "{}", "1979-05-27",
                                  "[[1, 2], {}]", "9223372036854775807"})
            for (std::size_t eq = sound.find(" = "); eq != std::string::npos;
                 eq = sound.find(" = ", eq + 3 + 400)) {  // a sample of the lines
                std::string text = sound;
                const std::size_t end = text.find('\n', eq);
                text.replace(eq + 3, end - eq - 3, value);
                expect_sound_or_placed(text, std::string(value) + ": ");
            }
    }
}

TEST(DamagedFile, EmptyAndOddOnes) {
    for (const char* text : {"", "\n", "#", "\xEF\xBB\xBF", "[", "a", "division = 3", "name = 1",
                             "division = [3, {}, [[]]]\n", "pitch = 440\n", "[[division]]\n",
                             "[[division]]\nstop = [1]\n", "bearings = true\n"})
        expect_sound_or_placed(text, text);
}

// Lines that aren't TOML are all named in one run, and so are mistakes of meaning between them.
TEST(DamagedFile, SeveralUnreadableLinesInOneRun) {
    const auto loaded = read_instrument(R"(name = "The organ
pitch = { a = 440, at = "18C" }
temperament = equal
[[division]]
name = "Great"
keys = 6x1
chest = "cromatic"
[[division.stop]]
name = "Flute 8'"
kind = "open"
tuned_by = "cone"
)",
                                        "t.toml");
    ASSERT_FALSE(loaded);
    std::vector<std::string> lines;
    for (const Error& error : loaded.error())
        lines.push_back(to_line(error));
    EXPECT_THAT(lines,
                ElementsAre(HasSubstr("t.toml:1:"), HasSubstr("t.toml:3:"), HasSubstr("t.toml:6:"),
                            HasSubstr("t.toml:7:9: \"chest\" is \"cromatic\"")));
}

// A key set twice hides nothing: what is missing elsewhere is still said.
TEST(DamagedFile, AKeySetTwiceIsOneMistakeAmongOthers) {
    const auto loaded = read_instrument(R"(name = "The organ"
name = "The other organ"
pitch = { a = 440, at = "18C" }
temperament = "equal"
[[division]]
name = "Great"
chest = "chromatic"
[[division.stop]]
name = "Mixture"
kind = "open"
tuned_by = "cone"
mixture = [{ from = "CC", rows = "40" }]
)",
                                        "t.toml");
    ASSERT_FALSE(loaded);
    std::vector<std::string> lines;
    for (const Error& error : loaded.error())
        lines.push_back(to_line(error));
    EXPECT_THAT(lines, ElementsAre(HasSubstr("t.toml:2:8: this key is set twice"),
                                   HasSubstr("t.toml:5:1: division \"Great\" has no \"keys\""),
                                   HasSubstr("t.toml:12:34: \"rows\" is \"40\"")));
}

TEST(DamagedFile, AnOpenBracketIsOneMistake) {
    const auto loaded = read_instrument(R"(name = "The organ"
pitch = [
temperament = "equal"
[[division]]
name = "Great"
)",
                                        "t.toml");
    ASSERT_FALSE(loaded);
    EXPECT_EQ(loaded.error().size(), 1U);
}

}  // namespace damaged_file_test
}  // namespace rankwright::storage

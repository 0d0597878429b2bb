// The helper's sheet, read by tools that aren't ours: libxml2's xmllint and HTML Tidy. Which keys
// and stops are called is the trade's: the reference drawn first, and held on its own key where
// that is another (common practice, no source).
#include "report/call_sheet.h"

#include "storage/instrument_file.h"
#include "support/temporary_folder.h"

#include <array>
#include <cstdio>
#include <fstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>

namespace rankwright::report {
namespace call_sheet_test {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;

struct CallSheetTest : ::testing::Test {
    organ::Instrument instrument =
        *storage::load_instrument(RANKWRIGHT_INSTRUMENTS "/emberlow.toml");
    testing::TemporaryFolder folder;

    organ::Pipe pipe(const std::string& stop, int key, int row = 1) {
        return *organ::pipe_of(*organ::find_stop(instrument, stop), key, row);
    }
    static std::string output_of(const std::string& command, int expected = 0) {
        FILE* pipe = popen((command + " 2>&1").c_str(), "r");
        std::string words;
        std::array<char, 4096> buffer;
        while (const std::size_t count = fread(buffer.data(), 1, buffer.size(), pipe))
            words.append(buffer.data(), count);
        const int status = pclose(pipe);
        EXPECT_EQ(WIFEXITED(status) ? WEXITSTATUS(status) : -1, expected) << words;
        return words;
    }
    /// The page's text; it must be well-formed XML, and Tidy must have nothing to say of it.
    std::string text(const CallSheet& sheet) {
        const std::string page = (folder / "calls.html").string();
        std::ofstream(page) << to_html(sheet);
        EXPECT_EQ(output_of("tidy -q -e -utf8 '" + page + "'"), "");
        output_of("xmllint --noout --nonet '" + page + "'");
        return output_of("xmllint --nonet --xpath 'string(/*/*[2])' '" + page + "'");
    }
};

TEST_F(CallSheetTest, CallsEachKeyByNameAndNumberWithTheStopsToDraw) {
    const CallSheet sheet = call_sheet(
        instrument, {pipe("Octave 4'", 25), pipe("Octave 4'", 27), pipe("Principal 8'", 13)});
    ASSERT_EQ(sheet.groups.size(), 2U);
    EXPECT_THAT(sheet.groups[0].stops, ElementsAre("Octave 4'"));
    EXPECT_THAT(sheet.groups[1].stops, ElementsAre("Octave 4'", "Principal 8'"));
    EXPECT_EQ(sheet.count(), 3U);
    const std::string words = text(sheet);
    for (const char* wanted :
         {"Calls: The Emberlow Organ", "Great: draw Octave 4'", "middle C", ", key 25", "key 27",
          "draw Octave 4', then Principal 8' as well", "tenor C", "key 13"})
        EXPECT_THAT(words, HasSubstr(wanted));
    EXPECT_THAT(words, Not(HasSubstr("and hold")));
}

// Clarion 4' from tenor C up is tuned in octaves to its own bass (instruments/emberlow.toml).
TEST_F(CallSheetTest, ACallMayBeTwoKeys) {
    const CallSheet sheet = call_sheet(instrument, {pipe("Great/Clarion 4'", 25)});
    ASSERT_TRUE(sheet.groups[0].calls[0].call.also);
    EXPECT_EQ(sheet.groups[0].calls[0].call.also->key, 13);
    EXPECT_THAT(text(sheet), HasSubstr("and hold tenor C, key 13"));
    EXPECT_EQ(to_text(sheet),
              "Great: draw Clarion 4'\n    1  middle C, key 25 and hold tenor C, key 13\n");
    const CallSheet alone = call_sheet(instrument, {pipe("Great/Clarion 4'", 25)}, true);
    EXPECT_FALSE(alone.groups[0].calls[0].call.also);
}

TEST_F(CallSheetTest, OneCallServesAllRowsOfAMixturesKey) {
    const CallSheet sheet =
        call_sheet(instrument, {pipe("Mixture III", 30, 1), pipe("Mixture III", 30, 2),
                                pipe("Mixture III", 30, 3), pipe("Mixture III", 32, 1)});
    ASSERT_EQ(sheet.count(), 2U);
    EXPECT_EQ(sheet.groups[0].calls[0].pipes.size(), 3U);
    EXPECT_THAT(sheet.groups[0].stops, ElementsAre("Mixture III")) << "heard by itself at first";
}

TEST_F(CallSheetTest, NamesWithAnyCharactersAreEscaped) {
    instrument.name = "St <b>X</b> & \"Söhne\" \x01 \xff";
    instrument.place = "</table><script>alert(1)</script>";
    for (organ::Stop& stop : instrument.divisions[0].stops)
        if (stop.id == "octave-4") stop.name = "Octave <i>4'</i> & Co";
    const CallSheet sheet = call_sheet(instrument, {pipe("great/octave-4", 1)});
    const std::string words = text(sheet);
    EXPECT_THAT(words, HasSubstr("St <b>X</b> & \"Söhne\""));
    EXPECT_THAT(words, HasSubstr("Octave <i>4'</i> & Co"));
    EXPECT_THAT(to_html(sheet), Not(HasSubstr("<script>")));
}

TEST_F(CallSheetTest, AnEmptySheetSaysSo) {
    EXPECT_THAT(text({"X", "", "", {}}), HasSubstr("Nothing"));
}

}  // namespace call_sheet_test
}  // namespace rankwright::report

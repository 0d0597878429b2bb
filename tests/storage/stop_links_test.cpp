#include "organ/reference.h"
#include "storage/instrument_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace stop_links_test {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

// `stops` begins on line 8 of the file; each is one line of a table.
std::string file_with(const std::vector<std::string>& stops) {
    std::string out = R"(name = "The test organ"
pitch = { a = 440, at = "18C" }
temperament = "equal"
[[division]]
name = "Great"
keys = 61
chest = "chromatic"
stop = [
)";
    for (const std::string& stop : stops)
        out += "  { " + stop + " },\n";
    return out + "]\n";
}

std::vector<std::string> mistakes_of(const std::vector<std::string>& stops) {
    const LoadedInstrument loaded = read_instrument(file_with(stops), "t.toml");
    std::vector<std::string> lines;
    if (loaded) return lines;
    for (const Error& error : loaded.error())
        lines.push_back(to_line(error));
    return lines;
}

const std::string kOpen = R"(, kind = "open", tuned_by = "sleeve")";

TEST(StopLinks, CirclesAreRefusedAtTheirPlace) {
    EXPECT_THAT(mistakes_of({R"(name = "Principal 8'", tuned_from = "Octave 4'")" + kOpen,
                             R"(name = "Octave 4'", tuned_from = "Fifteenth 2'")" + kOpen,
                             R"(name = "Fifteenth 2'", tuned_from = "Principal 8'")" + kOpen,
                             R"(name = "Twelfth 2 2/3'", tuned_from = "Octave 4'")" + kOpen}),
                ElementsAre(::testing::AllOf(
                    HasSubstr("t.toml:9:41: tuned in a circle: "),
                    HasSubstr("\"Principal 8'\" from \"Octave 4'\" from \"Fifteenth 2'\" from "
                              "\"Principal 8'\""))));
}

TEST(StopLinks, CirclesAreFoundBesideOtherMistakesInOneRun) {
    EXPECT_THAT(mistakes_of({R"(name = "Principal 8'", tuned_from = "Octave 4'")" + kOpen,
                             R"(name = "Octave 4'", tuned_from = "Principal 8'")" + kOpen,
                             R"(name = "Flute 4'", borrowed_from = "Subbas 16'")",
                             R"(name = "Nasard 2 2/3'", tuned_from = "Flute 4'")" + kOpen}),
                ElementsAre(HasSubstr("t.toml:9:41: tuned in a circle: "),
                            ::testing::AllOf(HasSubstr("t.toml:11:"), HasSubstr("Subbas 16'"),
                                             HasSubstr("Great/Principal 8'"))));
}

TEST(StopLinks, TwoStopsOfOneNameAreNamedAsSuch) {
    EXPECT_THAT(mistakes_of({R"(name = "Octave 4'")" + kOpen, R"(name = "Octave 4'")" + kOpen,
                             R"(name = "Principal 8'", tuned_from = "Octave 4'")" + kOpen}),
                ElementsAre(HasSubstr("a second stop of this division has the id"),
                            HasSubstr("is the name of several stops of Great")));
}

TEST(StopLinks, OctavesToItselfAreNoCircleButUnisonsAre) {
    const std::string trumpet = R"(name = "Trumpet 8'", kind = "short reed", tuned_from = )";
    const std::string octave = R"(name = "Octave 4'")" + kOpen;
    EXPECT_THAT(
        mistakes_of(
            {octave,
             trumpet +
                 R"([{ stop = "Octave 4'" }, { from = "tenor C", stop = "itself", keys = -12 }])"}),
        IsEmpty());
    EXPECT_THAT(mistakes_of({octave, trumpet + R"("itself")"}),
                ElementsAre(HasSubstr("tuned in a circle")));
    EXPECT_THAT(mistakes_of({octave, trumpet + R"([{ stop = "itself", keys = -12 }])"}),
                ElementsAre(HasSubstr("CC of \"Trumpet 8'\" would be tuned from CCC")));
    EXPECT_THAT(
        mistakes_of(
            {octave,
             trumpet +
                 R"([{ stop = "Octave 4'" }, { from = "tenor C", stop = "itself", keys = 12 }])"}),
        ElementsAre(HasSubstr("which has no such pipe")));
}

TEST(StopLinks, ReferencesAreSingleRanksThatExist) {
    EXPECT_THAT(mistakes_of({R"(name = "Octave 4'", tuned_from = "Mixture")" + kOpen,
                             R"(name = "Mixture", mixture = [{ rows = "8.12" }])" + kOpen}),
                ElementsAre(HasSubstr("is a mixture; a reference is a single rank")));
    EXPECT_THAT(mistakes_of({R"(name = "Octave 4'", tuned_from = "Octav 2'")" + kOpen,
                             R"(name = "Octave 2'")" + kOpen}),
                ElementsAre(HasSubstr("t.toml:9:38: There is no stop \"Octav 2'\" in The test "
                                      "organ. Did you mean \"Great/Octave 2'\"?")));
}

TEST(StopLinks, BorrowedPipesMustBeThere) {
    const std::string bourdon = R"(name = "Bourdon 16'", kind = "stopped", tuned_by = "stopper")";
    const std::string flute = R"(name = "Flute 8'", borrowed_from = "Bourdon 16'")";
    EXPECT_THAT(mistakes_of({bourdon, flute}),
                ElementsAre(HasSubstr("t.toml:10:40: \"Flute 8'\" plays pipes 13 to 73 of "
                                      "\"Bourdon 16'\", which has 1 to 61")));
    EXPECT_THAT(mistakes_of({bourdon + ", extra_pipes = 12", flute}), IsEmpty());
    EXPECT_THAT(
        mistakes_of({bourdon + ", extra_pipes = 13", flute}),
        ElementsAre(HasSubstr("t.toml:9:3: no stop plays the pipes of \"Bourdon 16'\" above "
                              "pipe 73")));
    EXPECT_THAT(
        mistakes_of({bourdon, R"(name = "Flute 8'", to = 49, borrowed_from = "Bourdon 16'", )"
                              R"(kind = "stopped")"}),
        ElementsAre(HasSubstr("borrows its pipes; \"kind\" belongs to the stop")));
    EXPECT_THAT(mistakes_of({bourdon, R"(name = "A", borrowed_from = "B")",
                             R"(name = "B", borrowed_from = "Bourdon 16'")"}),
                ElementsAre(HasSubstr("\"B\" has no pipes of its own")));
    EXPECT_THAT(mistakes_of({R"(name = "Quint 5 1/3'")" + kOpen,
                             R"(name = "Octave 4'", to = 20, borrowed_from = "Quint 5 1/3'")"}),
                ElementsAre(HasSubstr("can be borrowed at its own feet only")));
}

TEST(StopLinks, CelestesStayWithinTheirMate) {
    const std::string celeste =
        R"(name = "Celeste 8'", celeste_of = "Viola 8'", beats = 3)" + kOpen;
    EXPECT_THAT(mistakes_of({R"(name = "Viola 8'")" + kOpen, celeste}), IsEmpty());
    EXPECT_THAT(mistakes_of({R"(name = "Viola 8'", from = "tenor C")" + kOpen, celeste}),
                ElementsAre(HasSubstr("goes beyond its mate")));
    EXPECT_THAT(mistakes_of({R"(name = "Viola 8'", feet = 4)" + kOpen, celeste}),
                ElementsAre(HasSubstr("sound the same pitch")));
    EXPECT_THAT(mistakes_of({R"(name = "Viola 8'")" + kOpen,
                             R"(name = "Celeste 8'", celeste_of = "Viola 8'")" + kOpen}),
                ElementsAre(HasSubstr("has no \"beats\"")));
    EXPECT_THAT(mistakes_of({R"(name = "Viola 8'")" + kOpen,
                             R"(name = "Celeste 8'", celeste_of = "Viola 8'", beats = 0)" + kOpen}),
                ElementsAre(HasSubstr("\"beats\" is 0; expected beats a second")));
}

TEST(StopLinks, MixturesThatWouldPassTheTopMustBreak) {
    EXPECT_THAT(
        mistakes_of({R"(name = "Cymbal", mixture = [{ rows = "29.33" }, { from = "tenor C", )"
                     R"(rows = "22.26" }])" +
                     kOpen}),
        ElementsAre(HasSubstr("row 2/3′ of stop \"Cymbal\" would sound above 12.5 kHz from C♯ in "
                              "alt up")));
    EXPECT_THAT(mistakes_of({R"(name = "Cymbal", mixture = [{ rows = "15" }, { from = "tenor C", )"
                             R"(rows = "15." }])" +
                             kOpen}),
                ElementsAre(HasSubstr("has the rows of the keys below it")));
}

// Readings are kept by pipe id: neither another order of stops nor new ones may change it, nor a
// new name while the id is pinned.
TEST(StopLinks, IdsSurviveEdits) {
    const auto ids = [](const std::vector<std::string>& stops) {
        std::vector<std::string> out;
        for (const organ::Pipe& pipe :
             organ::pipes(read_instrument(file_with(stops), "t.toml").value()))
            if (pipe.id.stop == "principal-8") out.push_back(to_string(pipe.id));
        return out;
    };
    const std::string octave = R"(name = "Octave 4'")" + kOpen;
    const auto before = ids({R"(name = "Principal 8'")" + kOpen, octave});
    EXPECT_EQ(before.size(), 61U);
    EXPECT_EQ(before,
              ids({octave, R"(name = "Principal 8'", kind = "tapered", tuned_by = "cone")"}));
    EXPECT_EQ(before,
              ids({R"(name = "Open Diapason", id = "principal-8", feet = 8)" + kOpen, octave}));
}

}  // namespace stop_links_test
}  // namespace rankwright::storage

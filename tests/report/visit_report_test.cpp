// What a reader of the report sees. The page is read by tools that aren't ours: libxml2's xmllint
// (it must be well-formed XML) and HTML Tidy (it must be good HTML).
#include "report/visit_report.h"

#include "report/report_page.h"
#include "storage/instrument_file.h"
#include "support/temporary_folder.h"
#include "support/two_visits.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <fstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>

namespace rankwright::report {
namespace visit_report_test {

using namespace std::string_literals;
using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using testing::TwoVisits;

struct Told {
    int code = -1;
    std::string words;
};

Told run(const std::string& command) {
    Told told;
    FILE* pipe = popen((command + " 2>&1").c_str(), "r");
    if (pipe == nullptr) return told;
    std::array<char, 4096> buffer;
    while (const std::size_t count = fread(buffer.data(), 1, buffer.size(), pipe))
        told.words.append(buffer.data(), count);
    const int status = pclose(pipe);
    told.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    return told;
}

struct Report : ::testing::Test {
    organ::Instrument instrument =
        *storage::load_instrument(RANKWRIGHT_INSTRUMENTS "/emberlow.toml");
    TwoVisits visits{instrument, 18.0, 22.0};
    bool with_file = true;
    bool with_earlier = true;
    testing::TemporaryFolder folder;

    organ::Pipe pipe(const std::string& stop, int key, int row = 1) {
        return *organ::pipe_of(*organ::find_stop(instrument, stop), key, row);
    }
    VisitReport report() {
        visit::DatedReadings earlier;
        if (with_earlier) earlier = visit::readings_of("1", visits.first.entries).left;
        return compose({visits.second.record, visits.second.entries,
                        with_file ? &instrument : nullptr, earlier});
    }
    /// What a strict XML parser makes of an XPath expression on the page.
    std::string read(const VisitReport& of, const std::string& xpath) {
        const std::string page = (folder / "page.html").string();
        std::ofstream(page) << to_html(of);
        const Told whole = run("xmllint --noout --nonet '" + page + "'");
        EXPECT_EQ(whole.code, 0) << whole.words;
        std::string words = run("xmllint --nonet --xpath \"" + xpath + "\" '" + page + "'").words;
        if (!words.empty() && words.back() == '\n') words.pop_back();
        return words;
    }
    std::string text(const VisitReport& of) { return read(of, "string(/*/*[2])"); }
    static void expect_sound_html(const VisitReport& of) {
        const testing::TemporaryFolder own;
        const std::string page = (own / "page.html").string();
        std::ofstream(page) << to_html(of);
        // 0: nothing to say; 1: warnings; 2: errors.
        const Told told = run("tidy -q -e -utf8 --drop-empty-elements no '" + page + "'");
        EXPECT_EQ(told.code, 0) << told.words;
    }
};

TEST_F(Report, SaysWhatWasDoneAndWhatWasNot) {
    visits.read_thermometers();
    visits.measure_pitch();
    for (int key = 1; key <= 61; ++key)
        visits.tune(pipe("Principal 8'", key), 0.0, 0.0, key == 25 ? 1.4 : 0.1, 3.0,
                    PipeId{"great", "octave-4", 1, key});
    visits.second.add(visit::OutOfReach{pipe("Gamba 8'", 3).id, true});
    visits.second.add(visit::OutOfReach{pipe("Gamba 8'", 4).id, true});
    visits.second.add(visit::OutOfReach{pipe("Gamba 8'", 4).id, false});
    visits.second.add(visit::Fault{pipe("Gamba 8'", 9).id, "dead", "no wind"});
    visits.second.add(visit::ListChange{pipe("Gamba 8'", 13).id, visit::ListState::wanted});
    const VisitReport made = report();
    ASSERT_EQ(made.ranks.size(), 2U);
    EXPECT_EQ(made.ranks[0].name, "Great · Principal 8'");
    EXPECT_EQ(made.ranks[0].tuned_from, "Great · Octave 4'");
    EXPECT_EQ(made.ranks[0].count(Outcome::tuned), 60U);
    ASSERT_EQ(made.not_tuned.size(), 3U);
    EXPECT_THAT(made.not_tuned[0].pipes, ElementsAre("middle C (1.4 cents sharp)"));
    EXPECT_THAT(made.not_tuned[0].why, HasSubstr("left open"));
    EXPECT_EQ(made.not_tuned[1].why, "out of reach");
    EXPECT_THAT(made.not_tuned[1].pipes, ElementsAre("DD"));
    EXPECT_EQ(made.not_tuned[2].why, "dead: no wind");
    ASSERT_EQ(made.not_heard.size(), 1U);
    EXPECT_THAT(made.not_heard[0].pipes, ElementsAre("tenor C"));
    const std::string words = text(made);
    for (const char* wanted :
         {"The Emberlow Organ", "61 pipes of 1 rank heard; 60 left in tune", "1 left open",
          "22.0 °C (71.6 °F)", "from Great · Octave 4'", "dead: no wind", "Advice", "Cautions",
          "Local safety codes", "tuned by"})
        EXPECT_THAT(words, HasSubstr(wanted));
    EXPECT_EQ(read(made, "count(//*[local-name()='svg'])"), "3") << "legend, rank, drift";
    expect_sound_html(made);
}

TEST_F(Report, SaysWhatIsOffAndWasLeftAlone) {
    visit::KeptReading one;
    one.pipe = pipe("Octave 4'", 25).id;
    one.moment = visit::Moment::survey;
    one.pitch = one.target = Hertz{523.0};
    one.deviation = Cents{-6.0};
    visits.second.add(one);
    one.pipe = pipe("Octave 4'", 26).id;
    one.deviation = Cents{0.1};
    visits.second.add(one);
    const VisitReport made = report();
    ASSERT_EQ(made.found_off.size(), 1U);
    EXPECT_THAT(made.found_off[0].pipes, ElementsAre("middle C (6.0 cents flat)"));
    EXPECT_THAT(made.not_tuned, IsEmpty());
    EXPECT_EQ(made.summary,
              "2 pipes of 1 rank heard; 1 left in tune, of which 1 were found so; 1 found off and "
              "not tuned.");
    EXPECT_EQ(made.ranks[0].in_tune(), 1U);
}

TEST_F(Report, OfManyThatAreOffNamesTheFurthest) {
    visit::KeptReading one;
    one.moment = visit::Moment::survey;
    one.pitch = one.target = Hertz{523.0};
    for (int key = 1; key <= 40; ++key) {
        one.pipe = pipe("Octave 4'", key).id;
        one.deviation = Cents{key == 30 ? -9.0 : 1.0 + 0.1 * key};
        visits.second.add(one);
    }
    const VisitReport made = report();
    ASSERT_EQ(made.found_off.size(), 1U);
    ASSERT_EQ(made.found_off[0].pipes.size(), 40U) << "all are told to who reads the figures";
    EXPECT_THAT(made.found_off[0].pipes[0], HasSubstr("(9.0 cents flat)"));
    EXPECT_THAT(made.found_off[0].pipes[1], HasSubstr("(5.0 cents sharp)"));
    const std::string words = text(made);
    EXPECT_THAT(words, HasSubstr("and 28 more that stood nearer"));
    EXPECT_THAT(words, HasSubstr("9.0 cents flat"));
    EXPECT_THAT(words, Not(HasSubstr("(1.1 cents sharp)")));
    expect_sound_html(made);
}

TEST_F(Report, NamesReferencesThatWereOff) {
    const PipeId reference = pipe("Octave 4'", 20).id;
    visit::KeptReading one;
    one.moment = visit::Moment::after;
    one.pitch = one.target = Hertz{300.0};
    one.settled = true;
    one.reference = reference;
    one.reference_deviation = Cents{-2.4};
    one.reference_uncertainty = Cents{0.1};
    for (const char* stop : {"Principal 8'", "Gamba 8'"}) {
        one.pipe = pipe(stop, 20).id;
        visits.second.add(one);
    }
    EXPECT_THAT(report().advice,
                Contains(HasSubstr("Great · Octave 4', tenor G, 2.4 cents flat (2 pipes")));
}

TEST_F(Report, NamesPipesThatDidNotHoldAndTheirTuningDevice) {
    visits.measure_pitch();
    for (int key = 1; key <= 61; ++key)
        visits.tune(pipe("Principal 8'", key), 0.0, key == 30 ? 8.0 : -3.0, 0.0);
    const VisitReport made = report();
    const auto& rank = made.ranks.at(0);
    ASSERT_TRUE(rank.drift.has_value());
    EXPECT_NEAR(rank.drift->trend->value(), -3.0, 1e-6);
    EXPECT_THAT(made.advice,
                Contains("Great · Principal 8': did not hold since the last visit: middle F (11.0 "
                         "cents sharper). Look whether its sleeve grips."));
    EXPECT_THAT(made.drift,
                Contains(HasSubstr("Great · Principal 8' as a whole stands 3.0 cents flatter")));
    EXPECT_THAT(text(made), HasSubstr("Since the last visit (2026-05-02)"));
    EXPECT_EQ(read(made, "count(//*[contains(@class,'astray')])"), "1");
    with_earlier = false;
    EXPECT_THAT(text(report()), Not(HasSubstr("Since the last visit")));
}

TEST_F(Report, DrawsSharpAboveTheLineAndFlatBelow) {
    visits.measure_pitch();
    visits.tune(pipe("Principal 8'", 10), 0.0, 9.0, 0.0);
    visits.tune(pipe("Principal 8'", 20), 0.0, -9.0, 0.0);
    with_earlier = false;
    const VisitReport made = report();
    const auto number = [&](const std::string& xpath) { return std::stod(read(made, xpath)); };
    const std::string plot = "(//*[local-name()='svg'])[2]";
    const double line = number("number((" + plot + "//*[@class='target'])[1]/@y1)");
    const auto top = [&](const std::string& mark) {
        const std::string path =
            read(made, "string((" + plot + "//*[@class='" + mark + "'])[1]/@d)");
        return std::stod(path.substr(path.find(' ') + 1));
    };
    EXPECT_LT(top("found sharp"), line - 10.0);
    EXPECT_GT(top("found flat"), line + 10.0);
}

// The rule's five characters: OWASP, Cross Site Scripting Prevention Cheat Sheet ("Output Encoding
// for HTML Contexts"). A parser that isn't ours must give every text back as it was.
TEST_F(Report, GivesAnyTextBackAsItWasWritten) {
    const std::vector<std::string> texts{
        "<script>alert(1)</script>",
        "\"><img src=x onerror=alert(1)>",
        "' onmouseover='x",
        "a & b &amp; &lt;c&gt; &#60;",
        "]]> <!-- --> <![CDATA[ <?xml ?>",
        "Türkenlouis 🎶🏰 ♯♭",
        "\u05E2\u05D5\u05D2\u05D1 \u0627\u0644\u0623\u0631\u063A\u0646",
        "=1+1, \\n %s {{x}} ${y}",
        std::string(3000, 'x'),
    };
    for (const std::string& hostile : texts) {
        instrument.name = instrument.place = hostile;
        instrument.divisions[0].name = hostile;
        instrument.divisions[0].stops[1].name = hostile;
        visits.second.entries.clear();
        visits.second.add(visit::Remark{StopId{"great", "principal-8"}, 5, hostile, true});
        visits.second.add(visit::AirReading{hostile, Celsius{20.0}, {}});
        visits.second.add(visit::Fault{pipe("great/principal-8", 7).id, hostile, hostile});
        visits.tune(pipe("great/principal-8", 8), 0.0, 0.0, 0.0);
        const VisitReport made = report();
        EXPECT_EQ(read(made, "string(//*[local-name()='h1']/*)"), hostile);
        EXPECT_EQ(read(made, "string((//*[contains(@class,'list')])[1]//*[local-name()='td'][4])"),
                  hostile);
        EXPECT_EQ(read(made,
                       "count(//*[local-name()='script' or local-name()='img' or @onerror "
                       "or @onmouseover or @src or @href])"),
                  "0");
        EXPECT_THAT(text(made), HasSubstr(hostile + " · " + hostile));
        expect_sound_html(made);
    }
}

// XML 1.0, section 2.2: these may stand in no document, however written.
TEST_F(Report, ReplacesWhatNoDocumentMayHold) {
    const std::string bad = "a\0b\x01\x1F\x7F\xC3(\xED\xA0\x80\xEF\xBF\xBF\xFF"s;
    visits.second.add(visit::Remark{{}, {}, bad, false});
    const std::string got =
        read(report(), "string((//*[contains(@class,'list')])[1]//*[local-name()='td'][4])");
    EXPECT_EQ(got.substr(0, 5), "a\uFFFDb");
    EXPECT_THAT(got, HasSubstr("("));
    EXPECT_EQ(got.find('\x01'), std::string::npos);
}

TEST_F(Report, DoesWithoutTheInstrumentFile) {
    visits.measure_pitch();
    for (int key = 1; key <= 30; ++key)
        visits.tune(pipe("Principal 8'", key), 0.0, 0.0, 0.1);
    with_file = false;
    const VisitReport made = report();
    EXPECT_EQ(made.organ, "The Emberlow Organ");
    EXPECT_EQ(made.ranks.at(0).name, "great · principal-8");
    EXPECT_EQ(made.ranks.at(0).pipes.at(12).note, "key 13");
    EXPECT_NEAR(made.ranks.at(0).drift->trend->value(), 0.0, 1e-6);
    EXPECT_THAT(text(made), HasSubstr("made without the organ’s instrument file"));
    expect_sound_html(made);
}

// The reeds stayed while the flues rose by 11.8 cents (ISO 9613-1): without the file that isn't
// told from reeds that went flat, which must not be claimed.
TEST_F(Report, WithoutTheFileReedsThatStayedHaveNotMoved) {
    visits.measure_pitch();
    for (int key = 1; key <= 30; ++key)
        visits.tune(pipe("Trumpet 8'", key), 0.0, 0.0, 0.1);
    EXPECT_THAT(text(report()), Not(HasSubstr("taken for flues")));
    with_file = false;
    const VisitReport made = report();
    EXPECT_FALSE(made.ranks.at(0).drift->moved);
    const std::string words = text(made);
    EXPECT_THAT(words, HasSubstr("all were taken for flues"));
    EXPECT_THAT(words, HasSubstr("by up to 11.8 cents"));
    EXPECT_THAT(words, Not(HasSubstr("as a whole stands")));
}

TEST_F(Report, OfAnEmptyVisitSaysSo) {
    const VisitReport made = report();
    EXPECT_EQ(made.summary, "No pipe was heard on this visit.");
    EXPECT_THAT(text(made), HasSubstr("Nothing was taken in hand."));
    EXPECT_THAT(text(made), HasSubstr("Neither temperature nor pitch was noted."));
    expect_sound_html(made);
}

// Figures that are none must not end in a page that can't be read.
TEST_F(Report, StandsFiguresThatAreNone) {
    visit::KeptReading one;
    one.settled = true;
    int key = 1;
    for (const double odd : {std::nan(""), HUGE_VAL, -HUGE_VAL, 1e300, -0.0}) {
        one.pipe = pipe("Principal 8'", key++).id;
        one.pitch = one.target = Hertz{odd};
        one.deviation = one.uncertainty = Cents{odd};
        one.moment = visit::Moment::before;
        visits.second.add(one);
        one.moment = visit::Moment::after;
        visits.second.add(one);
        visits.second.add(visit::AirReading{{}, Celsius{odd}, odd});
        visits.second.add(visit::PitchReading{Hertz{odd}, true});
    }
    EXPECT_THAT(text(report()), HasSubstr("What was tuned"));
}

// Nothing from elsewhere, no scripts: the page shows the same on any machine.
TEST_F(Report, IsOneFileByItself) {
    visits.tune(pipe("Principal 8'", 3), 0.0, 2.0, 0.1);
    const std::string page = to_html(report());
    for (const char* unwanted : {"<script", "src=", "href=", "url(", "@import", "<link", "<iframe"})
        EXPECT_THAT(page, Not(HasSubstr(unwanted)));
    EXPECT_THAT(page, HasSubstr("@page"));
    EXPECT_THAT(page, HasSubstr("break-inside: avoid"));
    EXPECT_THAT(page, Not(HasSubstr("size: A4"))) << "Letter as well";
}

}  // namespace visit_report_test
}  // namespace rankwright::report

#include "app/snapshot.h"

#include "overlay/words.h"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace snapshot_test {

constexpr double kStep_s = 0.02;

/// Frames of partials that run `beat_hz` (times their number) ahead of the awaited pitch.
std::vector<listening::PartialFrame> frames(double beat_hz, double seconds) {
    std::vector<listening::PartialFrame> all;
    for (double t = 0.0; t < seconds; t += kStep_s) {
        listening::PartialFrame frame;
        for (std::size_t k = 0; k < listening::kRibbonPartials; ++k)
            frame.phasor[k] = std::polar(0.1F, static_cast<float>(2.0 * std::numbers::pi * beat_hz *
                                                                  static_cast<double>(k + 1) * t));
        all.push_back(frame);
    }
    return all;
}

int beads(const std::vector<float>& width) {
    int count = 0;
    for (std::size_t i = 1; i < width.size(); ++i)
        count += width[i - 1] < 0.5F && width[i] >= 0.5F;
    return count;
}

// A unison x hertz out beats x times a second, its k-th partials k times as fast (Sedley Taylor,
// Sound and Music, 1873).
TEST(Ribbons, HaveABeadForEachBeat) {
    const auto ribbons = make_ribbons(frames(0.5, 8.0));
    ASSERT_EQ(ribbons.size(), listening::kRibbonPartials);
    for (std::size_t k = 0; k < ribbons.size(); ++k)
        EXPECT_NEAR(beads(ribbons[k].width), 0.5 * 8.0 * static_cast<double>(k + 1), 1.01) << k + 1;
    EXPECT_EQ(ribbons[1].label, "2:2");
}

// Fifty frames a second would show 40 beats a second as 10.
TEST(Ribbons, ShowNoSlowBeatWhereAFastOneSounds) {
    const auto ribbons = make_ribbons(frames(8.0, 4.0));
    EXPECT_NEAR(beads(ribbons[0].width), 32.0, 1.01);
    for (std::size_t k = 1; k < ribbons.size(); ++k)
        for (std::size_t i = 1; i < ribbons[k].width.size(); ++i)
            EXPECT_NEAR(ribbons[k].width[i], 0.637F, 0.001F) << k + 1 << ' ' << i;
}

TEST(Ribbons, AreEvenForAPurePipe) {
    for (const auto& ribbon : make_ribbons(frames(0.0, 4.0)))
        for (const float width : ribbon.width)
            EXPECT_NEAR(width, 1.0F, 1e-4F);
}

TEST(Ribbons, AreEmptyBeforeAnythingSounded) {
    for (const auto& ribbon : make_ribbons({}))
        EXPECT_TRUE(ribbon.width.empty());
}

TEST(Amount, IsSaidOnlyWhereMillimetresAreKnown) {
    organ::Movement movement;
    EXPECT_EQ(amount_words(movement), "");
    movement.at_least = Millimetres{2.1};
    movement.at_most = Millimetres{4.2};
    EXPECT_EQ(amount_words(movement), "2 to 4 mm");
    movement.at_most = Millimetres{2.2};
    EXPECT_EQ(amount_words(movement), "about 2.0 mm");
    movement.at_least = Millimetres{18.0};
    movement.at_most = Millimetres{18.4};
    EXPECT_EQ(amount_words(movement), "about 18 mm");
}

TEST(Level, IsSaidInWords) {
    listening::Hearing hearing;
    hearing.sounding = listening::Sounding::steady;
    hearing.input.rms = Decibels{-30.0};
    EXPECT_FALSE(level_words(hearing).bad);
    hearing.input.clipped = 0.01;
    EXPECT_TRUE(level_words(hearing).bad);
    hearing.input = {Decibels{-120.0}, Decibels{-120.0}, 0.0};
    EXPECT_TRUE(level_words(hearing).bad);
}

TEST(MeetingRibbons, AreNamedByThePartialsThatMeetAndShowWhatIsHeard) {
    organ::Reference reference;
    reference.reference_partial = 1;
    reference.pipe_partial = 2;
    std::vector<listening::PartialFrame> heard(100);
    for (std::size_t i = 0; i < heard.size(); ++i)
        heard[i].phasor[0] = {0.1F * std::abs(std::cos(0.1F * static_cast<float>(i))), 0.0F};
    const auto ribbons = make_ribbons(heard, reference);
    ASSERT_EQ(ribbons.size(), listening::kRibbonPartials);
    EXPECT_EQ(ribbons[0].label, "1:2");
    EXPECT_EQ(ribbons[2].label, "3:6");
    EXPECT_FLOAT_EQ(ribbons[0].width[0], 1.0F);
    EXPECT_LT(ribbons[0].width[16], 0.1F) << "cos 1.6: the beat's quiet moment";
    EXPECT_FLOAT_EQ(ribbons[1].width[5], 0.0F) << "nothing is heard there";
}

struct PairedSnapshot : ::testing::Test {
    organ::Instrument instrument;
    void SetUp() override {
        organ::Stop octave;
        octave.id = "octave-4";
        octave.name = "Octave 4′";
        octave.footage = *organ::parse_footage("4");
        octave.makes = {{1, {}}};
        organ::Stop principal = octave;
        principal.id = "principal-8";
        principal.name = "Principal 8′";
        principal.footage = *organ::parse_footage("8");
        principal.tuned_from = {{1, "great", "octave-4", 0}};
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        great.stops = {octave, principal};
        instrument.divisions = {great};
    }
    /// Middle C of the Principal from the Octave.
    visit::Run middle_c(const organ::Day& day = {}) const {
        visit::Run run(instrument, organ::find_stop(instrument, "Principal 8").value(), day,
                       {visit::Job::from_reference});
        run.go_to(25);
        return run;
    }
    static overlay::Snapshot shown_of(const visit::Run& run, const tuning::AgainstReference& job,
                                      const listening::PairHearing& pair) {
        const tuning::SinglePipe unused;
        SnapshotInputs in{run, unused, nullptr, {}, false};
        in.paired = &job;
        in.pair = &pair;
        return make_snapshot(in);
    }
};

TEST_F(PairedSnapshot, ShowsBeatReferenceAndTheWarningOfItsError) {
    organ::Day day;
    day.pitch = Hertz{440.0};
    const visit::Run run = middle_c(day);
    tuning::AgainstReference job;
    job.expect(*run.paired_expectation());
    listening::PairHearing pair;
    pair.sounding = listening::Sounding::steady;
    listening::BeatReading reading;
    // Middle C and the C above it, A 440 (MIDI standard), the upper 4 cents flat of that.
    reading.reference = transpose(Hertz{523.2511}, Cents{-4.0});
    reading.beat = Hertz{0.8};
    reading.pipe = (reading.reference + reading.beat) / 2.0;
    reading.beat_sd = Hertz{0.01};
    pair.reading = reading;
    job.hear(pair, {});

    const overlay::Snapshot shown = shown_of(run, job, pair);
    EXPECT_EQ(shown.reference, "Octave 4′");
    EXPECT_EQ(shown.job, "from Octave 4′, by beats");
    EXPECT_EQ(shown.stops_on, (std::vector<std::string>{"Octave 4′", "Principal 8′"}));
    ASSERT_TRUE(shown.beat);
    EXPECT_NEAR(shown.beat->rate.value(), 0.8, 1e-6);
    EXPECT_NEAR(shown.deviation->value(), 1200.0 / std::numbers::ln2 * 0.8 / 522.0, 0.01);
    EXPECT_NEAR(shown.reference_deviation->value(), -4.0, 0.01);
    ASSERT_FALSE(shown.notices.empty());
    EXPECT_NE(shown.notices.front().words.find("copies"), std::string::npos);
    EXPECT_NE(shown.notices.front().words.find("Tune it first"), std::string::npos);

    visit::Record record;
    record.add({}, visit::OutOfReach{job.expectation()->reference.pipe.id, true});
    visit::Run beyond(instrument, organ::find_stop(instrument, "Principal 8").value(), day,
                      {visit::Job::from_reference}, record);
    const overlay::Snapshot there = shown_of(beyond, job, pair);
    ASSERT_FALSE(there.notices.empty());
    EXPECT_NE(there.notices.front().words.find("copies"), std::string::npos);
    EXPECT_EQ(there.notices.front().words.find("Tune it first"), std::string::npos);
}

// What was known of its reference doesn't do to tune by: what to do next is said.
TEST_F(PairedSnapshot, AloneWithAReferenceThatIsHardlyKnownItIsToBeHeardOnceMore) {
    visit::Run run = middle_c();
    run.hear_alone();
    ASSERT_TRUE(run.hears_alone());
    tuning::Expectation expected = run.expectation();
    expected.target_doubt = Cents{8.0};
    tuning::SinglePipe job;
    job.expect(expected);
    listening::Hearing hearing;
    hearing.sounding = listening::Sounding::steady;
    hearing.now = {96000};
    hearing.reading.emplace();
    hearing.reading->pitch = transpose(expected.target, Cents{9.0});
    hearing.reading->sd = Hertz{0.01};
    hearing.reading->to = hearing.now;
    job.hear(hearing);
    const overlay::Snapshot shown = make_snapshot({run, job, nullptr, {}, false});
    ASSERT_FALSE(shown.notices.empty());
    EXPECT_NE(shown.notices.front().words.find("hear it once more"), std::string::npos);
    EXPECT_GT(shown.uncertainty->value(), 7.0);
}

// Names of octaves as in organ/note.h. By the list, keys of two octaves come one after the other.
TEST_F(PairedSnapshot, NotesToComeThatAnotherOctaveHasTooAreGivenWithTheirs) {
    const tuning::SinglePipe job;
    visit::Record record;
    for (const int key : {13, 25, 29, 31})
        record.add({},
                   visit::ListChange{{"great", "principal-8", 1, key}, visit::ListState::wanted});
    visit::RunOptions options{visit::Job::to_target};
    options.only_listed = true;
    const visit::Run run(instrument, organ::find_stop(instrument, "Principal 8").value(), {},
                         options, record);
    const overlay::Snapshot shown = make_snapshot({run, job, nullptr, {}, false});
    EXPECT_EQ(shown.note, "tenor C");
    EXPECT_EQ(shown.then, "then middle C · E · F♯");
}

TEST_F(PairedSnapshot, BeforeTheDayIsMeasuredTheReferenceTellsWhereItStands) {
    const visit::Run run = middle_c();
    tuning::AgainstReference job;
    job.expect(*run.paired_expectation());
    listening::PairHearing pair;
    pair.sounding = listening::Sounding::steady;
    pair.reference_alone = true;
    listening::PitchReading reading;
    // The C above middle C of A 442: 523.2511 Hz at A 440 (MIDI standard) times 442/440.
    reading.pitch = Hertz{523.2511 * 442.0 / 440.0};
    reading.sd = Hertz{0.01};
    pair.reference = reading;
    job.hear(pair, {});
    const overlay::Snapshot shown = shown_of(run, job, pair);
    ASSERT_TRUE(shown.reference_a);
    EXPECT_NEAR(shown.reference_a->value(), 442.0, 0.01);
    EXPECT_TRUE(shown.notices.empty()) << "nothing says that it is wrong";
}

// A silent pipe leaves what passes for two in tune: the technician is told what to do.
TEST_F(PairedSnapshot, WhatMayBeTheReferenceAloneIsSaidToBe) {
    const visit::Run run = middle_c();
    for (const bool perhaps : {true, false}) {
        tuning::AgainstReference job;
        job.expect(*run.paired_expectation());
        listening::PairHearing pair;
        pair.sounding = listening::Sounding::steady;
        pair.perhaps_both = perhaps;
        listening::BeatReading reading;
        reading.reference = Hertz{523.2511};
        reading.pipe = reading.reference / 2.0;
        reading.beat_sd = Hertz{0.01};
        reading.under = Hertz{0.05};
        pair.reading = reading;
        job.hear(pair, {});
        EXPECT_TRUE(shown_of(run, job, pair).notices.empty()) << "the pipe may yet come";
        for (int tenth = 1; tenth < 60; ++tenth) {
            pair.now = pair.now + std::int64_t{4800};
            pair.heard = Seconds{0.1 * tenth};
            job.hear(pair, {});
        }
        const overlay::Snapshot shown = shown_of(run, job, pair);
        EXPECT_EQ(shown.stage == overlay::Stage::settled, !perhaps);
        const std::string words = shown.notices.empty() ? "" : shown.notices.front().words;
        EXPECT_EQ(words,
                  perhaps ? "Perhaps Octave 4′ sounds alone: hear the pipe by itself (A)." : "");
    }
}

TEST_F(PairedSnapshot, BearingsAreWantedAsABeat) {
    instrument.bearings = organ::Bearings{"great", "principal-8", 18, 30};
    visit::Run run(instrument, organ::find_stop(instrument, "Principal 8").value(), {},
                   {visit::Job::bearings});
    ASSERT_TRUE(run.next());
    tuning::AgainstReference job;
    job.expect(*run.paired_expectation());
    // Tenor A at 220 Hz and middle E a pure fifth above it, MIDI numbers 57 and 64.
    listening::PairHearing pair;
    pair.sounding = listening::Sounding::steady;
    listening::BeatReading reading;
    reading.reference = Hertz{220.0};
    reading.pipe = Hertz{330.0};
    reading.beat = Hertz{0.0};
    reading.beat_sd = Hertz{0.01};
    pair.reading = reading;
    job.hear(pair, {});
    const overlay::Snapshot shown = shown_of(run, job, pair);
    EXPECT_EQ(shown.job, "fifth up from tenor A, narrow, by beats");
    EXPECT_EQ(shown.note, "middle E");
    EXPECT_EQ(shown.also_note, "tenor A");
    EXPECT_EQ(shown.pipe_count, 13);
    // A–E beats 0.7 a second in equal temperament: Teki et al., J. Neurosci. 32(35), 2012, Table 1.
    ASSERT_TRUE(shown.beat);
    EXPECT_NEAR(shown.beat->target.value(), -0.7, 0.05);
    EXPECT_EQ(overlay::figure_of(*shown.beat).sign, "sharp");
    EXPECT_EQ(overlay::figure_of(*shown.beat).number, "0.74");
    EXPECT_EQ(overlay::beat_words(*shown.beat), "beats under 0.02, wanted 0.74 flat");
}

std::string notices_of(const organ::Instrument& instrument, const organ::Day& day,
                       visit::RunOptions options) {
    const visit::Run run(instrument, organ::find_stop(instrument, "Trumpet 8").value(), day,
                         options);
    tuning::SinglePipe job;
    job.expect(run.expectation());
    std::string all;
    for (const overlay::Notice& notice : make_snapshot({run, job, nullptr, {}, false}).notices)
        all += notice.words + "\n";
    return all;
}

// Flues rise 2.95 cents a kelvin at 20 °C (ISO 9613-1:1993, A.5), a reed that holds its pitch not.
TEST_F(PairedSnapshot, SaysWhatTemperatureDoes) {
    instrument.at = Celsius{20.0};
    organ::Stop trumpet;
    trumpet.id = "trumpet-8";
    trumpet.name = "Trumpet 8′";
    trumpet.makes = {{1,
                      {organ::PipeKind::reed_full, organ::Material::metal,
                       organ::TuningDevice::reed_wire, 0.0}}};
    organ::Division swell;
    swell.id = "swell";
    swell.name = "Swell";
    swell.stops = {trumpet};
    instrument.divisions.push_back(swell);
    EXPECT_EQ(notices_of(instrument, {}, {}), "");
    organ::Day day;
    day.temperature = Celsius{18.0};
    EXPECT_EQ(notices_of(instrument, day, {}),
              "In tune now, this reed will read 5.9 cents flat at 20.0 °C.\n");
    EXPECT_EQ(notices_of(instrument, day, {visit::Job::to_target, true}),
              "Compensated: wanted 5.9 cents sharp of the plain target now, it will agree at 20.0 "
              "°C.\n");
    day.places = {{"swell", Celsius{21.0}}};
    EXPECT_NE(notices_of(instrument, day, {})
                  .find("Swell stands at 21.0 °C, the reference at 18.0 °C: its flues read 8.9 "
                        "cents sharp"),
              std::string::npos);
    // At 18 °C the flues should stand 5.9 cents flat; they stand 20 cents sharp.
    day.pitch = transpose(Hertz{440.0}, Cents{20.0});
    EXPECT_NE(notices_of(instrument, day, {}).find("hold the thermometer at pipe level"),
              std::string::npos);
}

}  // namespace snapshot_test
}  // namespace rankwright::app

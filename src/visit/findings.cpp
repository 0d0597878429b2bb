#include "visit/findings.h"

#include "core/median.h"
#include "core/text.h"
#include "organ/pitch_of_day.h"
#include "organ/reference.h"
#include "tuning/audibility.h"
#include "visit/survey_words.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

namespace {

using organ::Pipe;
using tuning::FaultKind;
using tuning::SurveyFault;
using tuning::SurveyReading;

constexpr Cents kLeastTrend{1.0};

/// Where some pipes stand in the middle, and its standard error: that of a median of normal scatter
/// (√(π/2) σ/√n), with σ by the median absolute deviation.
struct Middle {
    double cents = 0.0;
    double error = 1e9;
};
Middle middle_of(const std::vector<double>& off) {
    constexpr std::size_t kFewest = 6;
    if (off.size() < kFewest) return {};
    Middle middle;
    middle.cents = median(off);
    std::vector<double> from;
    from.reserve(off.size());
    for (const double cents : off)
        from.push_back(std::abs(cents - middle.cents));
    middle.error = 1.2533 * 1.4826 * median(from) / std::sqrt(static_cast<double>(off.size()));
    return middle;
}
bool clear(double cents, double error) {
    constexpr double kClearly = 3.0;
    return std::abs(cents) > std::max(kLeastTrend.value(), kClearly * error);
}

bool on_c_side(int midi) { return midi % 2 == 0; }

std::string cents_text(double cents) { return decimal(std::abs(cents), 1) + " cents"; }
const char* sharp_or_flat(double cents) { return cents < 0.0 ? "flat" : "sharp"; }
/// Beats to read: finely while slow.
std::string beats_text(double beats) {
    return decimal(std::abs(beats), std::abs(beats) < 1.0 ? 2 : 1) + " a second";
}
std::string seconds_text(Seconds at) { return decimal(at.count(), 1) + " s"; }

class Finder {
  public:
    Finder(const organ::Instrument& instrument, const SurveyedStop& survey, const organ::Day& day)
        : instrument_(instrument),
          survey_(survey),
          result_(survey.result),
          day_(day),
          trends_(trends_of(survey)) {
        if (result_.pitch) day_.pitch = result_.pitch;
    }

    std::vector<Finding> find() {
        of_the_whole();
        of_single_pipes();
        std::vector<Finding> astray = out_of_tune();
        std::sort(astray.begin(), astray.end(),
                  [](const Finding& a, const Finding& b) { return a.audibility > b.audibility; });
        found_.insert(found_.end(), astray.begin(), astray.end());
        return std::move(found_);
    }

  private:
    Finding& add(FindingKind kind, std::string words) {
        found_.push_back({kind, {}, {}, {}, {}, 0.0, std::move(words), false, false});
        return found_.back();
    }
    Seconds at(FrameIndex frame) const { return duration(frame - FrameIndex{}, survey_.rate); }

    void of_the_whole() {
        for (const SurveyFault& fault : result_.faults)
            say_of_the_whole(fault);
        if (result_.readings.empty()) return;
        of_the_day();
        of_trends();
        if (!result_.hidden.empty())
            add(FindingKind::hidden,
                text_of({"not to be read under the cipher: ", notes_of(result_.hidden),
                         ": silence it and play them again"}));
        if (!result_.not_played.empty())
            add(FindingKind::not_played,
                text_of({"not heard: ", notes_of(result_.not_played), ": not played, or silent"}));
    }

    void say_of_the_whole(const SurveyFault& fault) {
        if (fault.kind == FaultKind::wrong_stop)
            add(FindingKind::wrong_stop,
                text_of({"the pipes sound ", interval_words(fault.interval), " all through",
                         footage_words(fault.interval), ": not ", survey_.stop.stop->name,
                         " but another stop is drawn, or a coupler; draw this one alone and play "
                         "again"}));
        else if (fault.kind == FaultKind::second_pipe)
            add(FindingKind::second_pipe,
                text_of({"with each key a second pipe sounds, ", interval_words(fault.interval),
                         ": an octave coupler is on, or another stop is drawn as well; draw ",
                         survey_.stop.stop->name, " alone, without couplers, and play again"}));
        else if (fault.kind == FaultKind::semitone_doubtful)
            add(FindingKind::semitone_doubtful,
                "the keys may all be one off: the rank stands between two keys' pitches; say "
                "today's A with --pitch, or play from the lowest key to the highest");
        else if (fault.kind == FaultKind::tremulant)
            add(FindingKind::tremulant,
                "the tremulant was on: the keys are in place, the figures only near; turn it off "
                "and play again")
                .at = at(fault.at);
    }

    /// Of what footage that is; of a mixture's row nobody says that.
    std::string footage_words(Cents interval) const {
        constexpr Cents kSame{30.0};
        const organ::Stop& asked = *survey_.stop.stop;
        if (asked.mixture()) return {};
        for (const char* feet : {"32", "16", "8", "5 1/3", "4", "2 2/3", "2", "1 1/3", "1"}) {
            const Hertz other{organ::parse_footage(feet)->ratio()};
            const Hertz sounds = transpose(Hertz{asked.footage.ratio()}, interval);
            if (apart(other, sounds) < kSame) return text_of({", as of ", feet, "′"});
        }
        return {};
    }

    void of_the_day() {
        if (!result_.pitch_measured || !day_.temperature) return;
        organ::Day air = day_;
        air.pitch.reset();
        const organ::PitchOfDay today = organ::pitch_as_given(instrument_, *result_.pitch, air);
        if (today.contradicted) add(FindingKind::day, today.explanation);
    }

    // Of another stop, or of two at once, nothing else can be said.
    bool is_another_stop() const {
        return std::any_of(result_.faults.begin(), result_.faults.end(), [](const auto& fault) {
            return fault.kind == FaultKind::wrong_stop || fault.kind == FaultKind::second_pipe;
        });
    }

    void of_trends() {
        if (is_another_stop()) return;
        if (trends_.rank != Cents{0.0}) {
            const double cents = trends_.rank.value();
            add(FindingKind::trend,
                text_of({"the whole rank stands ", cents_text(cents), " ", sharp_or_flat(cents),
                         ": temperature or wind, not its single pipes, which are judged from "
                         "there"}))
                .deviation = trends_.rank;
        }
        if (!trends_.c_side) return;
        const double apart = (*trends_.sharp_side - *trends_.c_side).value();
        Finding& sides =
            add(FindingKind::trend,
                text_of({"the C♯ side stands ", cents_text(apart), " ", sharp_or_flat(apart),
                         " of the C side: temperature or wind on one side, not single "
                         "pipes, which are judged from their own side"}));
        sides.deviation = Cents{apart};
        sides.of_sides = true;
    }

    void of_single_pipes() {
        for (const SurveyFault& fault : result_.faults) {
            auto said = words_of(fault);
            if (!said) continue;
            Finding& finding = add(said->first, std::move(said->second));
            finding.pipe = fault.pipe;
            finding.at = at(fault.at);
            finding.sounded = fault.sounded;
        }
    }

    std::optional<std::pair<FindingKind, std::string>> words_of(const SurveyFault& fault) const {
        const std::string note = fault.pipe ? fault.pipe->note : "";
        switch (fault.kind) {
            case FaultKind::cipher:
                return {
                    {FindingKind::cipher,
                     note + " ciphers: it sounds on under other keys; silence it and play the rank "
                            "again: what is read and missed under it, and how its octaves and "
                            "twelfths speak, can't be relied on"}};
            case FaultKind::missing:
                return {{FindingKind::missing,
                         note + (fault.sounded ? " is missing: in its turn something sounded that "
                                                 "can't be read, as when two keys are held: play "
                                                 "it again, alone"
                                 : !fault.time_passed ? " is missing: skipped, or silent"
                                 : *fault.time_passed ? " is missing, though time passed for it: "
                                                        "silent, unless the helper paused"
                                                      : " is missing: skipped, as it seems; no "
                                                        "time passed for it")}};
            case FaultKind::octave:
                return {
                    {FindingKind::octave, text_of({note, " sounds ", interval_words(fault.interval),
                                                   ": it overblows, or another key was played"})}};
            case FaultKind::off_speech:
                return {{FindingKind::off_speech, note + speech_words(fault)}};
            case FaultKind::no_key:
                return {{FindingKind::no_key,
                         text_of({"at ", seconds_text(at(fault.at)), " something sounds at ",
                                  decimal(fault.heard->value(), 1),
                                  " Hz that is no pipe of this stop"})}};
            case FaultKind::wrong_stop:
            case FaultKind::second_pipe:
            case FaultKind::semitone_doubtful:
            case FaultKind::tremulant:
                break;
        }
        return std::nullopt;
    }

    static std::string speech_words(const SurveyFault& fault) {
        if (fault.heard)
            return " is off speech: it sounds " + decimal(fault.heard->value(), 0) +
                   " Hz before its own note";
        if (fault.speech)
            return text_of(
                {" is off speech: slow, ", decimal(fault.speech->count(), 1), " s to its note"});
        return " is off speech: its note never settles";
    }

    std::vector<Finding> out_of_tune() const {
        if (is_another_stop()) return {};
        std::vector<Finding> astray;
        for (const SurveyReading& reading : last_of_each_key()) {
            const Cents trend = trends_.of(reading.pipe.midi);
            const Cents off = reading.deviation - trend;
            const Hertz right = transpose(reading.target, trend);
            const auto& partials = reading.tone.partials;
            if (!visit::out_of_tune(right, off, reading.tone.uncertainty, partials)) continue;
            Finding finding;
            finding.pipe = reading.pipe;
            finding.at = at(reading.tone.stood);
            finding.deviation = off;
            finding.beat = reading.tone.pitch - right;
            finding.audibility = tuning::audibility(right, off, partials);
            finding.words = tuning_words(reading, off, *finding.beat);
            astray.push_back(std::move(finding));
        }
        return astray;
    }

    std::string tuning_words(const SurveyReading& reading, Cents off, Hertz beat) const {
        std::string words = text_of({reading.pipe.note, " is ", cents_text(off.value()), " ",
                                     sharp_or_flat(off.value()), ": it beats ",
                                     beats_text(beat.value()), " with the ensemble"});
        const auto reference = organ::reference_of(instrument_, reading.pipe, day_);
        if (reference && reference->pipe_partial > 1)
            words += text_of(
                {", ", beats_text(reference->pipe_partial * beat.value()), " with its reference"});
        return words;
    }

    /// Of a key that was played again, the last time counts.
    std::vector<SurveyReading> last_of_each_key() const {
        std::vector<SurveyReading> last;
        for (const SurveyReading& reading : result_.readings) {
            if (reading.slip != tuning::Slip::none || !reading.tone.read) continue;
            const auto same = std::find_if(last.begin(), last.end(), [&](const auto& one) {
                return one.pipe.id == reading.pipe.id;
            });
            if (same == last.end())
                last.push_back(reading);
            else
                *same = reading;
        }
        return last;
    }

    const organ::Instrument& instrument_;
    const SurveyedStop& survey_;
    const tuning::SurveyResult& result_;
    organ::Day day_;
    Trends trends_;
    std::vector<Finding> found_;
};

}  // namespace

const char* word_of(FindingKind kind) {
    switch (kind) {
        case FindingKind::wrong_stop:
            return "wrong_stop";
        case FindingKind::second_pipe:
            return "second_pipe";
        case FindingKind::semitone_doubtful:
            return "semitone_doubtful";
        case FindingKind::tremulant:
            return "tremulant";
        case FindingKind::day:
            return "day";
        case FindingKind::trend:
            return "trend";
        case FindingKind::hidden:
            return "hidden";
        case FindingKind::not_played:
            return "not_played";
        case FindingKind::cipher:
            return "cipher";
        case FindingKind::missing:
            return "missing";
        case FindingKind::octave:
            return "octave";
        case FindingKind::off_speech:
            return "off_speech";
        case FindingKind::no_key:
            return "no_key";
        case FindingKind::out_of_tune:
            return "out_of_tune";
    }
    return "";
}

std::string interval_words(Cents interval) {
    struct Name {
        int cents;
        const char* words;
    };
    constexpr Name kNames[] = {{3600, "three octaves"}, {3102, "two octaves and a fifth"},
                               {2400, "two octaves"},   {1902, "a twelfth"},
                               {1200, "an octave"},     {702, "a fifth"},
                               {498, "a fourth"}};
    for (const Name& name : kNames)
        if (std::abs(std::abs(interval.value()) - name.cents) < 50.0)
            return text_of({name.words, interval < Cents{0.0} ? " low" : " high"});
    return cents_text(interval.value()) + (interval < Cents{0.0} ? " low" : " high");
}

Cents Trends::of(int midi) const {
    if (!c_side) return rank;
    return on_c_side(midi) ? *c_side : *sharp_side;
}

Trends trends_of(const SurveyedStop& survey) {
    std::vector<Stood> stood;
    for (const SurveyReading& reading : survey.result.readings)
        if (reading.slip == tuning::Slip::none && !reading.tone.tremulant)
            stood.push_back({reading.pipe.midi, reading.deviation});
    return trends_of(survey.stop, stood);
}

Trends trends_of(const organ::StopRef& stop, std::span<const Stood> readings) {
    std::vector<double> all, c, sharp;
    for (const Stood& reading : readings) {
        const double off = reading.deviation.value();
        all.push_back(off);
        (on_c_side(reading.midi) ? c : sharp).push_back(off);
    }
    Trends trends;
    if (const Middle rank = middle_of(all); clear(rank.cents, rank.error))
        trends.rank = Cents{rank.cents};
    const auto chest = stop.stop->chest.value_or(stop.division->chest);
    const bool sides = chest == organ::ChestArrangement::sides_tall_in ||
                       chest == organ::ChestArrangement::sides_tall_out;
    const Middle left = middle_of(c), right = middle_of(sharp);
    if (sides && clear(left.cents - right.cents, std::hypot(left.error, right.error))) {
        trends.c_side = Cents{left.cents};
        trends.sharp_side = Cents{right.cents};
    }
    return trends;
}

bool out_of_tune(Hertz right, Cents off, Cents uncertainty, const listening::Partials& partials) {
    constexpr Hertz kSlowestMet{1.0 / 3.0};
    const double sure = 2.0 * uncertainty.value();
    if (std::abs(off.value()) <= std::max(tuning::tolerance_at(right).value(), sure)) return false;
    return tuning::fastest_beat(right, off, partials) >= kSlowestMet;
}

std::vector<Finding> findings_of(const organ::Instrument& instrument, const SurveyedStop& survey,
                                 const organ::Day& day) {
    return Finder(instrument, survey, day).find();
}

}  // namespace rankwright::visit

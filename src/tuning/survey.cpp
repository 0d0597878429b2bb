#include "tuning/survey.h"

#include "core/multiple.h"
#include "tuning/second_pipe.h"
#include "tuning/survey_judging.h"

#include <algorithm>
#include <utility>

namespace rankwright::tuning {

namespace {

SurveyFault of_the_rank(FaultKind kind, FrameIndex at, Cents interval) {
    SurveyFault fault{kind, {}, at, {}, {}, {}, {}, false};
    fault.interval = interval;
    return fault;
}

/// A partial of the tone before, ringing in the room.
bool rings(const std::vector<HeardTone>& tones, std::size_t tone) {
    if (tone == 0) return false;
    constexpr Cents kSame{30.0};
    return partial_near(tones[tone - 1].pitch, tones[tone].pitch, kSame).has_value();
}

/// Which multiple of each pipe a second one sounds.
std::optional<int> find_second_pipe(const PlacedTones& placed, const Ciphers& ciphers) {
    std::vector<const HeardTone*> alone;
    for (std::size_t i = 0; i < placed.tones.size(); ++i)
        if (const HeardTone& tone = placed.tones[i];
            ciphers.leave(placed, i) && tone.read && !ciphers.sound(tone.left))
            alone.push_back(&tone);
    return second_pipe(alone, placed.tremulant);
}

}  // namespace

// It isn't seen in every tone, but it shakes all that sound while it is on: no figure of them
// is better than about.
std::optional<FrameIndex> find_tremulant(std::vector<HeardTone>& tones, SampleRate rate) {
    constexpr std::size_t kFewest = 2;
    constexpr double kShare = 0.15;
    const auto shaken = [](const HeardTone& tone) { return tone.tremulant; };
    const auto first = std::find_if(tones.begin(), tones.end(), shaken);
    const auto last = std::find_if(tones.rbegin(), tones.rend(), shaken).base();
    const auto count = std::count_if(tones.begin(), tones.end(), shaken);
    if (static_cast<std::size_t>(count) < kFewest ||
        static_cast<double>(count) < kShare * static_cast<double>(last - first))
        return std::nullopt;
    const bool mostly = static_cast<double>(last - first) > 0.5 * static_cast<double>(tones.size());
    for (auto tone = mostly ? tones.begin() : first; tone != (mostly ? tones.end() : last);
         ++tone) {
        tone->tremulant = true;
        tone->pitch = tone->about;
        tone->uncertainty = kAbout;
        tone->to = tone->left;
        tone->stood = std::min(speech_over(tone->from, tone->pitch, rate), tone->to);
    }
    return first->from;
}

std::optional<organ::PitchOfDay> find_pitch(const PlacedTones& placed, const Ciphers& ciphers) {
    constexpr std::size_t kFewest = 3;
    std::vector<organ::ReferenceReading> readings;
    for (std::size_t i = 0; i < placed.tones.size(); ++i)
        if (const HeardTone& tone = placed.tones[i]; ciphers.leave(placed, i) &&
                                                     placed.placing.tones[i].slip == Slip::none &&
                                                     (tone.read || placed.tremulant))
            readings.push_back({placed.pipe_of(i), tone.pitch, tone.uncertainty});
    if (placed.placing.stop_interval != Cents{0.0} || readings.size() < kFewest)
        return std::nullopt;
    return organ::pitch_of_day(*placed.plan.instrument, readings, placed.plan.day);
}

std::vector<SurveyFault> find_strange_tones(const PlacedTones& placed, const Ciphers& ciphers) {
    constexpr Seconds kWorthSaying{1.0};  // longer than a word
    std::vector<SurveyFault> faults;
    for (std::size_t i = 0; i < placed.tones.size(); ++i) {
        const HeardTone& tone = placed.tones[i];
        if (placed.at_key(i) || !tone.read ||
            duration(tone.to - tone.stood, placed.rate) <= kWorthSaying || rings(placed.tones, i) ||
            ciphers.cover(tone.pitch, tone.from))
            continue;
        faults.push_back({FaultKind::no_key, {}, tone.from, {}, {}, {}, tone.pitch, false});
    }
    return faults;
}

SurveyResult judge_survey(const SurveyPlan& plan, const std::vector<HeardTone>& tones,
                          SampleRate rate) {
    SurveyResult result;
    std::vector<SurveyFault>& faults = result.faults;
    const auto add = [&](const std::vector<SurveyFault>& more) {
        faults.insert(faults.end(), more.begin(), more.end());
    };
    std::vector<HeardTone> heard = tones;
    const auto shaken = find_tremulant(heard, rate);

    const PlacedTones placed = put_in_place(plan, std::move(heard), rate, shaken.has_value());
    const Placing& placing = placed.placing;
    result.from_expected = placing.offset;
    if (placing.stop_interval != Cents{0.0})
        faults.push_back(of_the_rank(FaultKind::wrong_stop, {}, placing.stop_interval));
    if (placing.or_keys_off) faults.push_back(of_the_rank(FaultKind::semitone_doubtful, {}, {}));

    Ciphers ciphers;
    if (!shaken) {
        ciphers = find_ciphers(placed);
        for (const auto& [key, first] : ciphers.all)
            faults.push_back(
                {FaultKind::cipher, placed.pipes.at(key), first.from, {}, {}, {}, {}, false});
    }
    const std::optional<int> second = find_second_pipe(placed, ciphers);
    // What two pipes beat passes for a tremulant.
    if (shaken && !second) faults.push_back(of_the_rank(FaultKind::tremulant, *shaken, {}));
    if (second)
        faults.push_back(of_the_rank(FaultKind::second_pipe, {},
                                     interval(Hertz{1.0}, Hertz{static_cast<double>(*second)})));

    organ::Day day = plan.day;
    if (!day.pitch)
        if (const auto measured = find_pitch(placed, ciphers)) {
            day.pitch = measured->a;
            result.pitch_measured = true;
            result.pitch_uncertainty = measured->uncertainty;
        }
    result.pitch = day.pitch;

    SurveyReadings read = make_readings(placed, ciphers, day);
    UnheardKeys unheard = find_unheard(placed, ciphers, read);
    // Of two pipes at once nobody knows which one speaks, is silent or sounds another note.
    if (!second) {
        if (!shaken) add(find_strange_tones(placed, ciphers));
        add(find_slips(read.readings, ciphers));
        add(unheard.missing);
        if (!shaken) add(find_slow_speech(read.readings, ciphers));
    }
    std::stable_sort(faults.begin(), faults.end(),
                     [](const auto& a, const auto& b) { return a.at < b.at; });
    result.readings = std::move(read.readings);
    result.hidden = std::move(unheard.hidden);
    result.not_played = std::move(unheard.not_played);
    return result;
}

}  // namespace rankwright::tuning

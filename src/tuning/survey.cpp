#include "tuning/survey.h"

#include "core/median.h"
#include "core/multiple.h"
#include "organ/pitch_of_day.h"
#include "tuning/second_pipe.h"
#include "tuning/survey_judge.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::tuning {

namespace {

// How far a rank may stand, as a whole, from where it is expected: nothing is known of the day; the
// thermometer is; its A is. Common practice, no source.
constexpr Cents kDayUnknown{30.0};
constexpr Cents kThermometerKnown{15.0};
constexpr Cents kPitchKnown{10.0};

}  // namespace

SurveyJudge::SurveyJudge(const SurveyPlan& plan, std::vector<HeardTone> tones, SampleRate rate)
    : plan_(plan), tones_(std::move(tones)), rate_(rate) {
    for (const organ::Pipe& pipe : plan.pipes)
        by_key_.emplace(pipe.key, pipe);
}

SurveyResult SurveyJudge::judge() {
    find_tremulant();
    put_in_place();
    find_ciphers();
    if (!tremulant_) find_second_pipe();
    find_strange_tones();
    find_pitch();
    make_readings();
    if (!tremulant_) leave_out_wind();
    find_slips();
    find_missing();
    if (!tremulant_) find_slow_speech();
    if (second_pipe_) leave_single_pipes();
    std::stable_sort(result_.faults.begin(), result_.faults.end(),
                     [](const auto& a, const auto& b) { return a.at < b.at; });
    return std::move(result_);
}

SurveyFault& SurveyJudge::fault(FaultKind kind, const std::optional<organ::Pipe>& pipe,
                                FrameIndex where) {
    result_.faults.push_back({kind, pipe, where, {}, {}, {}, {}, false});
    return result_.faults.back();
}

void SurveyJudge::put_in_place() {
    RankKeys rank;
    for (const organ::Pipe& pipe : plan_.pipes)
        rank.keys.push_back({pipe.key, target_on(plan_.day, pipe)});
    rank.offset_sd = plan_.day.pitch         ? kPitchKnown
                     : plan_.day.temperature ? kThermometerKnown
                                             : kDayUnknown;
    std::vector<ToneToPlace> to_place;
    for (const HeardTone& tone : tones_)
        to_place.push_back({tone.pitch, tone.uncertainty, at(tone.from), at(tone.to)});
    placing_ = place(to_place, rank);
    result_.from_expected = placing_.offset;
    if (placing_.stop_interval != Cents{0.0})
        fault(FaultKind::wrong_stop, std::nullopt, {}).interval = placing_.stop_interval;
    if (placing_.or_keys_off) fault(FaultKind::semitone_doubtful, std::nullopt, {});
}

void SurveyJudge::find_second_pipe() {
    std::vector<const HeardTone*> alone;
    for (std::size_t i = 0; i < tones_.size(); ++i)
        if (counts(i) && tones_[i].read && !one_ciphers(tones_[i].left))
            alone.push_back(&tones_[i]);
    const auto times = second_pipe(alone);
    second_pipe_ = times.has_value();
    if (times)
        fault(FaultKind::second_pipe, std::nullopt, {}).interval =
            interval(Hertz{1.0}, Hertz{static_cast<double>(*times)});
}

// Of two pipes at once nobody knows which one speaks, is silent or sounds another note.
void SurveyJudge::leave_single_pipes() {
    std::erase_if(result_.faults, [](const SurveyFault& one) {
        return one.kind == FaultKind::octave || one.kind == FaultKind::missing ||
               one.kind == FaultKind::off_speech || one.kind == FaultKind::no_key;
    });
}

void SurveyJudge::find_strange_tones() {
    for (std::size_t i = 0; i < tones_.size(); ++i) {
        constexpr Seconds kWorthSaying{1.0};  // longer than a word
        const HeardTone& tone = tones_[i];
        if (!placed(i) && tone.read && duration(tone.to - tone.stood, rate_) > kWorthSaying &&
            !rings(i) && !tremulant_ && !covered(tone.pitch, tone.from))
            fault(FaultKind::no_key, std::nullopt, tone.from).heard = tone.pitch;
    }
}

// A partial of the tone before, ringing in the room.
bool SurveyJudge::rings(std::size_t tone) const {
    if (tone == 0) return false;
    constexpr Cents kSame{30.0};
    return partial_near(tones_[tone - 1].pitch, tones_[tone].pitch, kSame).has_value();
}

void SurveyJudge::find_pitch() {
    day_ = plan_.day;
    std::vector<organ::ReferenceReading> readings;
    for (std::size_t i = 0; i < tones_.size(); ++i)
        if (counts(i) && placing_.tones[i].slip == Slip::none && (tones_[i].read || tremulant_))
            readings.push_back({pipe_of(i), tones_[i].pitch, tones_[i].uncertainty});
    if (plan_.day.pitch) {
        result_.pitch = plan_.day.pitch;
        return;
    }
    constexpr std::size_t kFewest = 3;
    if (placing_.stop_interval != Cents{0.0} || readings.size() < kFewest) return;
    const auto measured = organ::pitch_of_day(*plan_.instrument, readings, plan_.day);
    if (!measured) return;
    result_.pitch = day_.pitch = measured->a;
    result_.pitch_measured = true;
    result_.pitch_uncertainty = measured->uncertainty;
}

void SurveyJudge::make_readings() {
    for (std::size_t i = 0; i < tones_.size(); ++i) {
        if (!counts(i)) continue;
        const HeardTone& tone = tones_[i];
        // An octave off where a cipher sounds may be the cipher's, or what it leaves of the pipe's.
        const bool slipped = placing_.tones[i].slip != Slip::none;
        if ((slipped || !tone.read) && !tone.tremulant && one_ciphers(tone.left)) {
            hidden_.insert(*placing_.tones[i].key);
            continue;
        }
        const organ::Pipe& pipe = pipe_of(i);
        const Hertz target = target_on(day_, pipe);
        const SurveyReading reading{pipe, tones_[i], target, interval(target, tones_[i].pitch),
                                    placing_.tones[i].slip};
        if (result_.readings.empty() || !same_press(result_.readings.back(), reading))
            result_.readings.push_back(reading);
        else if (stood(reading) > stood(result_.readings.back()))
            result_.readings.back() = reading;
    }
}

// What begins before the same note has ended is the same key still held: a knock came between, or
// the ear heard its octave from then on.
bool SurveyJudge::same_press(const SurveyReading& before, const SurveyReading& after) const {
    constexpr Seconds kNoPause{0.15};
    return before.pipe.key == after.pipe.key &&
           at(after.tone.from) < at(before.tone.left) + kNoPause;
}

// A silent pipe has its wind, far softer than the pipes about it, that never settles, or passes
// for a tone for a moment only.
void SurveyJudge::leave_out_wind() {
    constexpr int kAbout_keys = 6;
    constexpr std::size_t kFewest = 3;
    constexpr double kMuchSofter_db = 20.0;  // common practice, no source: a weak pipe is 10
    constexpr double kMoment = 0.5;          // of how long the pipes about it sound
    const auto is_wind = [&](const SurveyReading& one) {
        std::vector<double> levels, times;
        for (const SurveyReading& other : result_.readings)
            if (const int away = std::abs(other.pipe.key - one.pipe.key);
                away > 0 && away <= kAbout_keys) {
                levels.push_back(other.tone.level.value());
                times.push_back(sounded(other).count());
            }
        if (levels.size() < kFewest ||
            one.tone.level.value() >= median(std::move(levels)) - kMuchSofter_db)
            return false;
        return !one.tone.speech || sounded(one).count() < kMoment * median(std::move(times));
    };
    std::vector<SurveyReading> of_pipes;
    for (const SurveyReading& reading : result_.readings)
        if (!is_wind(reading)) of_pipes.push_back(reading);
    result_.readings = std::move(of_pipes);
}

// It isn't seen in every tone, but it shakes all that sound while it is on: no figure of them
// is better than about.
void SurveyJudge::find_tremulant() {
    constexpr std::size_t kFewest = 2;
    constexpr double kShare = 0.15;
    const auto shaken = [](const HeardTone& tone) { return tone.tremulant; };
    const auto first = std::find_if(tones_.begin(), tones_.end(), shaken);
    const auto last = std::find_if(tones_.rbegin(), tones_.rend(), shaken).base();
    const auto count = std::count_if(tones_.begin(), tones_.end(), shaken);
    if (static_cast<std::size_t>(count) < kFewest ||
        static_cast<double>(count) < kShare * static_cast<double>(last - first))
        return;
    tremulant_ = true;
    fault(FaultKind::tremulant, std::nullopt, first->from);
    const bool mostly =
        static_cast<double>(last - first) > 0.5 * static_cast<double>(tones_.size());
    for (auto tone = mostly ? tones_.begin() : first; tone != (mostly ? tones_.end() : last);
         ++tone) {
        tone->tremulant = true;
        tone->pitch = tone->about;
        tone->uncertainty = kAbout;
        tone->to = tone->left;
        tone->stood = std::min(speech_over(tone->from, tone->pitch, rate_), tone->to);
    }
}

SurveyResult judge_survey(const SurveyPlan& plan, const std::vector<HeardTone>& tones,
                          SampleRate rate) {
    return SurveyJudge(plan, tones, rate).judge();
}

}  // namespace rankwright::tuning

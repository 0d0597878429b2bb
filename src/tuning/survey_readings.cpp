// What each tone of a survey is: at which key, and how its pipe stands.
#include "core/median.h"
#include "tuning/survey_judging.h"

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

/// A cipher sounds out of its key's turn, in no order; its pitch alone tells the key.
void place_by_pitch(PlacedTone& placed, Hertz pitch, const RankKeys& rank, Cents offset) {
    Cents nearest{60.0};
    for (const KeyPitch& key : rank.keys) {
        const Cents off = apart(transpose(key.pitch, offset), pitch);
        if (off >= nearest) continue;
        nearest = off;
        placed.key = key.key;
        placed.slip = Slip::none;
    }
}

/// What begins before the same note has ended is the same key still held: a knock came between, or
/// the ear heard its octave from then on.
bool same_press(const SurveyReading& before, const SurveyReading& after, SampleRate rate) {
    constexpr Seconds kNoPause{0.15};
    return before.pipe.key == after.pipe.key &&
           duration(after.tone.from - before.tone.left, rate) < kNoPause;
}

std::int64_t stood(const SurveyReading& reading) { return reading.tone.to - reading.tone.stood; }

/// A silent pipe has its wind, far softer than the pipes about it, that never settles, or passes
/// for a tone for a moment only.
bool is_wind(const SurveyReading& one, const std::vector<SurveyReading>& all) {
    constexpr int kAbout_keys = 6;
    constexpr std::size_t kFewest = 3;
    constexpr double kMuchSofter_db = 20.0;  // common practice, no source: a weak pipe is 10
    constexpr double kMoment = 0.5;          // of how long the pipes about it sound
    const auto sounded = [](const SurveyReading& reading) {
        return static_cast<double>(reading.tone.to - reading.tone.from);
    };
    std::vector<double> levels, times;
    for (const SurveyReading& other : all)
        if (const int away = std::abs(other.pipe.key - one.pipe.key);
            away > 0 && away <= kAbout_keys) {
            levels.push_back(other.tone.level.value());
            times.push_back(sounded(other));
        }
    if (levels.size() < kFewest ||
        one.tone.level.value() >= median(std::move(levels)) - kMuchSofter_db)
        return false;
    return !one.tone.speech || sounded(one) < kMoment * median(std::move(times));
}

}  // namespace

PlacedTones put_in_place(const SurveyPlan& plan, std::vector<HeardTone> tones, SampleRate rate,
                         bool tremulant) {
    PlacedTones placed{plan, rate, std::move(tones), tremulant, {}, {}};
    RankKeys rank;
    for (const organ::Pipe& pipe : plan.pipes) {
        rank.keys.push_back({pipe.key, organ::target(*plan.instrument, pipe, plan.day)});
        placed.pipes.emplace(pipe.key, pipe);
    }
    rank.offset_sd = plan.day.pitch         ? kPitchKnown
                     : plan.day.temperature ? kThermometerKnown
                                            : kDayUnknown;
    std::vector<ToneToPlace> to_place;
    for (const HeardTone& tone : placed.tones)
        to_place.push_back(
            {tone.pitch, tone.uncertainty, placed.at(tone.from), placed.at(tone.to)});
    placed.placing = place(to_place, rank);
    for (std::size_t i = 0; i < placed.tones.size() && !tremulant; ++i)
        if (placed.tones[i].goes_on)
            place_by_pitch(placed.placing.tones[i], placed.tones[i].pitch, rank,
                           placed.placing.offset);
    return placed;
}

SurveyReadings make_readings(const PlacedTones& placed, const Ciphers& ciphers,
                             const organ::Day& day) {
    SurveyReadings made;
    std::vector<SurveyReading> all;
    for (std::size_t i = 0; i < placed.tones.size(); ++i) {
        if (!ciphers.leave(placed, i)) continue;
        const HeardTone& tone = placed.tones[i];
        const organ::Pipe& pipe = placed.pipe_of(i);
        const Slip slip = placed.placing.tones[i].slip;
        // An octave off where a cipher sounds may be the cipher's, or what it leaves of the pipe's.
        if ((slip != Slip::none || !tone.read) && !tone.tremulant && ciphers.sound(tone.left)) {
            made.hidden.insert(pipe.key);
            continue;
        }
        const Hertz target = organ::target(*placed.plan.instrument, pipe, day);
        const SurveyReading reading{pipe, tone, target, interval(target, tone.pitch), slip};
        if (all.empty() || !same_press(all.back(), reading, placed.rate))
            all.push_back(reading);
        else if (stood(reading) > stood(all.back()))
            all.back() = reading;
    }
    for (const SurveyReading& reading : all)
        if (placed.tremulant || !is_wind(reading, all)) made.readings.push_back(reading);
    return made;
}

}  // namespace rankwright::tuning

#include "tuning/survey.h"

#include "core/median.h"
#include "core/multiple.h"
#include "organ/pitch_of_day.h"
#include "tuning/covering.h"
#include "tuning/speech.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

namespace rankwright::tuning {

namespace {

// How far a rank may stand, as a whole, from where it is expected: nothing is known of the day; the
// thermometer is; its A is. Common practice, no source.
constexpr Cents kDayUnknown{30.0};
constexpr Cents kThermometerKnown{15.0};
constexpr Cents kPitchKnown{10.0};

Seconds at(FrameIndex frame, SampleRate rate) { return duration(frame - FrameIndex{}, rate); }

class Judge {
  public:
    Judge(const SurveyPlan& plan, std::vector<HeardTone> tones, SampleRate rate)
        : plan_(plan), tones_(std::move(tones)), rate_(rate) {
        for (const organ::Pipe& pipe : plan.pipes)
            by_key_.emplace(pipe.key, pipe);
    }

    SurveyResult judge() {
        find_tremulant();
        put_in_place();
        find_ciphers();
        find_strange_tones();
        find_pitch();
        make_readings();
        if (!tremulant_) leave_out_wind();
        find_slips();
        find_missing();
        if (!tremulant_) find_slow_speech();
        std::stable_sort(result_.faults.begin(), result_.faults.end(),
                         [](const auto& a, const auto& b) { return a.at < b.at; });
        return std::move(result_);
    }

  private:
    Hertz target_on(const organ::Day& day, const organ::Pipe& pipe) const {
        return organ::target(*plan_.instrument, pipe, day);
    }
    const organ::Pipe& pipe_of(std::size_t tone) const {
        return by_key_.at(*placing_.tones[tone].key);
    }
    bool placed(std::size_t tone) const { return placing_.tones[tone].key.has_value(); }
    bool counts(std::size_t tone) const { return placed(tone) && !under_cipher_.contains(tone); }

    void put_in_place() {
        RankKeys rank;
        for (const organ::Pipe& pipe : plan_.pipes)
            rank.keys.push_back({pipe.key, target_on(plan_.day, pipe)});
        rank.offset_sd = plan_.day.pitch         ? kPitchKnown
                         : plan_.day.temperature ? kThermometerKnown
                                                 : kDayUnknown;
        std::vector<ToneToPlace> to_place;
        for (const HeardTone& tone : tones_)
            to_place.push_back(
                {tone.pitch, tone.uncertainty, at(tone.from, rate_), at(tone.to, rate_)});
        placing_ = place(to_place, rank);
        result_.from_expected = placing_.offset;
        if (placing_.stop_interval != Cents{0.0})
            fault(FaultKind::wrong_stop, std::nullopt, {}).interval = placing_.stop_interval;
        if (placing_.or_keys_off) fault(FaultKind::semitone_doubtful, std::nullopt, {});
    }

    void find_strange_tones() {
        for (std::size_t i = 0; i < tones_.size(); ++i) {
            constexpr Seconds kWorthSaying{1.0};  // longer than a word
            const HeardTone& tone = tones_[i];
            if (!placed(i) && tone.read && duration(tone.to - tone.stood, rate_) > kWorthSaying &&
                !rings(i) && !tremulant_)
                fault(FaultKind::no_key, std::nullopt, tone.from).heard = tone.pitch;
        }
    }

    // A partial of the tone before, ringing in the room.
    bool rings(std::size_t tone) const {
        if (tone == 0) return false;
        constexpr Cents kSame{30.0};
        return partial_near(tones_[tone - 1].pitch, tones_[tone].pitch, kSame).has_value();
    }

    SurveyFault& fault(FaultKind kind, const std::optional<organ::Pipe>& pipe, FrameIndex where) {
        result_.faults.push_back({kind, pipe, where, {}, {}, {}, {}, false});
        return result_.faults.back();
    }

    // A cipher sounds out of its key's turn, in no order; its pitch alone tells the key.
    void place_by_pitch(std::size_t tone) {
        constexpr Cents kOwn{60.0};
        Cents nearest = kOwn;
        for (const auto& [key, pipe] : by_key_) {
            const Hertz expected = transpose(target_on(plan_.day, pipe), placing_.offset);
            const Cents off = interval(expected, tones_[tone].pitch);
            if (std::abs(off.value()) >= nearest.value()) continue;
            nearest = Cents{std::abs(off.value())};
            placing_.tones[tone].key = key;
            placing_.tones[tone].slip = Slip::none;
        }
    }

    // A pipe that is heard again and again between the other keys was never let go.
    void find_ciphers() {
        if (tremulant_) return;
        for (std::size_t i = 0; i < tones_.size(); ++i)
            if (tones_[i].goes_on) place_by_pitch(i);
        std::map<int, std::vector<std::size_t>> heard;  // by key, of the tones in place
        std::size_t in_place = 0;
        std::vector<std::size_t> place_of(tones_.size(), 0);
        for (std::size_t i = 0; i < tones_.size(); ++i) {
            if (!placed(i)) continue;
            heard[*placing_.tones[i].key].push_back(i);
            place_of[i] = in_place++;
        }
        for (const auto& [key, times] : heard) {
            constexpr std::size_t kTimes = 3;
            constexpr Cents kSamePitch{15.0};
            const HeardTone& first = tones_[times[0]];
            std::vector<std::size_t> again;  // with another key before it
            for (std::size_t t = 1; t < times.size(); ++t) {
                const bool same = std::abs(interval(tones_[times[t]].pitch, first.pitch).value()) <
                                  kSamePitch.value();
                if (same && place_of[times[t]] > place_of[times[t - 1]] + 1)
                    again.push_back(times[t]);
            }
            const bool goes_on = std::any_of(times.begin(), times.end(),
                                             [&](std::size_t t) { return tones_[t].goes_on; });
            if (!goes_on && again.size() < kTimes) continue;
            under_cipher_.insert(again.begin(), again.end());
            // What is heard of a cipher between the keys may be one of its partials.
            if (covered(first.pitch, first.from)) continue;
            fault(FaultKind::cipher, by_key_.at(key), first.from);
            ciphers_.push_back(times[0]);
        }
    }

    bool ciphers(int key) const {
        return std::any_of(ciphers_.begin(), ciphers_.end(),
                           [&](std::size_t cipher) { return placing_.tones[cipher].key == key; });
    }

    // What a cipher's partials cover, as its own octaves, can't be heard while it sounds.
    bool covered(Hertz pitch, FrameIndex when) const {
        return std::any_of(ciphers_.begin(), ciphers_.end(), [&](std::size_t cipher) {
            return when >= tones_[cipher].from && covers(tones_[cipher], pitch);
        });
    }

    bool speech_hidden(const HeardTone& tone) const {
        return std::any_of(ciphers_.begin(), ciphers_.end(), [&](std::size_t cipher) {
            return tone.left > tones_[cipher].from && hides_speech(tones_[cipher], tone);
        });
    }

    void find_pitch() {
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

    void make_readings() {
        for (std::size_t i = 0; i < tones_.size(); ++i) {
            if (!counts(i)) continue;
            // An octave off where the cipher sounds: that is heard, and not this key's pipe.
            const HeardTone& tone = tones_[i];
            if (placing_.tones[i].slip != Slip::none && covered(tone.pitch, tone.from)) continue;
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

    // A silent pipe has its wind, far softer than the pipes about it, that never settles, or passes
    // for a tone for a moment only.
    void leave_out_wind() {
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

    Seconds sounded(const SurveyReading& reading) const {
        return duration(reading.tone.to - reading.tone.from, rate_);
    }
    std::int64_t stood(const SurveyReading& reading) const {
        return reading.tone.to - reading.tone.stood;
    }
    // What begins before the same note has ended is the same key still held: a knock came between.
    bool same_press(const SurveyReading& before, const SurveyReading& after) const {
        return before.pipe.key == after.pipe.key && after.tone.from < before.tone.left;
    }

    void find_slips() {
        for (const SurveyReading& reading : result_.readings)
            if (reading.slip != Slip::none && !ciphers(reading.pipe.key))
                fault(FaultKind::octave, reading.pipe, reading.tone.from).interval =
                    size_of(reading.slip);
    }

    /// Typical time from one key's onset to the next's.
    std::optional<double> cadence() const {
        std::vector<double> steps;
        for (std::size_t r = 1; r < result_.readings.size(); ++r)
            steps.push_back((at(result_.readings[r].tone.from, rate_) -
                             at(result_.readings[r - 1].tone.from, rate_))
                                .count());
        if (steps.size() < 3) return std::nullopt;
        return median(std::move(steps));
    }

    /// The keys of the rank that play comes to, going on by single keys or by chest sides.
    std::vector<int> keys_between(int from, int to, int stride) const {
        std::vector<int> keys;
        for (const auto& [key, pipe] : by_key_)
            if (key > std::min(from, to) && key < std::max(from, to) && (key - from) % stride == 0)
                keys.push_back(key);
        return keys;
    }

    void find_missing() {
        std::set<int> heard;
        for (const SurveyReading& reading : result_.readings)
            heard.insert(reading.pipe.key);
        if (heard.empty()) return;
        const auto typical = cadence();
        std::map<int, SurveyFault> missing;
        for (std::size_t r = 1; r < result_.readings.size(); ++r) {
            const SurveyReading& before = result_.readings[r - 1];
            const SurveyReading& after = result_.readings[r];
            const int step = std::abs(after.pipe.key - before.pipe.key);
            constexpr int kGap = 6;  // keys: a longer one is a jump
            const int stride = plays_sides(r) ? 2 : 1;
            if (step <= stride || step > kGap * stride) continue;
            const auto keys = keys_between(before.pipe.key, after.pipe.key, stride);
            const double passed =
                (at(after.tone.from, rate_) - at(before.tone.from, rate_)).count();
            for (const int key : keys) {
                if (heard.contains(key) || tremulant_ ||
                    covered(target_on(day_, by_key_.at(key)), before.tone.to))
                    continue;
                SurveyFault& one = missing[key];
                one.kind = FaultKind::missing;
                one.pipe = by_key_.at(key);
                one.at = before.tone.to;
                one.sounded = something_between(before, after);
                if (typical)
                    one.time_passed =
                        passed > (0.4 + 0.6 * static_cast<double>(keys.size() + 1)) * *typical;
            }
        }
        for (const auto& [key, one] : missing)
            result_.faults.push_back(one);
        for (const auto& [key, pipe] : by_key_)
            if (!heard.contains(key) && !missing.contains(key)) result_.not_played.push_back(pipe);
    }

    /// Whether something sounded between two readings, for as long as a key is held, that is none
    /// of the rank's pipes; softer is the wind in a silent one.
    bool something_between(const SurveyReading& before, const SurveyReading& after) const {
        constexpr Seconds kHeld{1.0};
        constexpr Decibels kSofter{20.0};
        for (std::size_t i = 0; i < tones_.size(); ++i) {
            const HeardTone& tone = tones_[i];
            if (tone.from < before.tone.left || tone.from > after.tone.from) continue;
            if (tone.unread_before > kHeld) return true;
            if (!placed(i) && tone.lasted(rate_) > kHeld &&
                tone.level > before.tone.level - kSofter)
                return true;
        }
        return false;
    }

    /// Whether the keys about the r-th step go by whole tones.
    bool plays_sides(std::size_t r) const {
        int by_two = 0, by_one = 0;
        constexpr std::size_t kAround = 4;
        for (std::size_t i = r > kAround ? r - kAround : 1;
             i < std::min(result_.readings.size(), r + kAround + 1); ++i) {
            const int step =
                std::abs(result_.readings[i].pipe.key - result_.readings[i - 1].pipe.key);
            by_two += step == 2 ? 1 : 0;
            by_one += step == 1 ? 1 : 0;
        }
        return by_two > by_one;
    }

    void find_slow_speech() {
        // A pipe that needs so long isn't in order: 40 periods are the longest onset of a good one,
        // and in a room the ear may need most of a second of its own. Where it read the pipe on its
        // way, it lost no time.
        constexpr double kPeriods = 80.0, kPeriodsSeen = 40.0;
        constexpr Seconds kLeast{1.0}, kSeen{0.3}, kLeastSeen{0.7};
        for (const SurveyReading& reading : result_.readings) {
            const HeardTone& tone = reading.tone;
            // Of a cipher nobody heard how it began at its key, nor of what it hides.
            if (tone.tremulant || tone.onset_disturbed || ciphers(reading.pipe.key) ||
                speech_hidden(tone))
                continue;
            const Seconds allowed =
                tone.crept
                    ? std::max(kLeastSeen, kSeen + Seconds{kPeriodsSeen / tone.pitch.value()})
                    : kLeast + Seconds{kPeriods / tone.pitch.value()};
            const bool other_note =
                tone.spoke_first && !reading.pipe.make.reed() && is_overblown(tone);
            if (tone.speech && *tone.speech < allowed && !other_note) continue;
            SurveyFault& one = fault(FaultKind::off_speech, reading.pipe, tone.from);
            one.speech = tone.speech;
            if (other_note) one.heard = tone.spoke_first;
        }
    }

    /// A flue overblows to a multiple of its note before it finds it.
    static bool is_overblown(const HeardTone& tone) {
        constexpr Cents kNear{100.0};
        return partial_near(tone.pitch, *tone.spoke_first, kNear).value_or(0) > 1;
    }

    // It isn't seen in every tone, but it shakes all that sound while it is on: no figure of them
    // is better than about.
    void find_tremulant() {
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

    const SurveyPlan& plan_;
    std::vector<HeardTone> tones_;
    SampleRate rate_;
    std::map<int, organ::Pipe> by_key_;
    Placing placing_;
    std::vector<std::size_t> ciphers_;    // the first tone of each
    std::set<std::size_t> under_cipher_;  // tones that are a cipher heard again
    organ::Day day_;
    bool tremulant_ = false;
    SurveyResult result_;
};

}  // namespace

SurveyResult judge_survey(const SurveyPlan& plan, const std::vector<HeardTone>& tones,
                          SampleRate rate) {
    return Judge(plan, tones, rate).judge();
}

}  // namespace rankwright::tuning

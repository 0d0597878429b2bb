#include "tuning/survey_recording.h"

#include "core/median.h"
#include "core/multiple.h"
#include "listening/measure.h"
#include "listening/partial_power.h"
#include "listening/pipe_listener.h"
#include "tuning/cipher_watch.h"
#include "tuning/own_pitch.h"
#include "tuning/second_pipe.h"
#include "tuning/speech.h"
#include "tuning/survey_sound.h"
#include "tuning/way_in.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

namespace rankwright::tuning {

namespace {

constexpr std::size_t kPiece = 512;
/// What the live ear needs to notice that a tone has ended.
constexpr Seconds kBeforeEnd{0.08};
constexpr Seconds kShortest{0.2};

std::vector<HeardTone> follow(const SurveySound& sound) {
    const int heard = std::min(sound.channels, 2);
    const auto width = static_cast<std::size_t>(sound.channels);
    const auto kept = static_cast<std::size_t>(heard);
    listening::PipeListener listener(
        {.rate = sound.rate, .channels = heard, .taken_out = sound.left});
    TonesHeard tones;
    std::vector<float> piece;
    const std::size_t frames = sound.interleaved.size() / width;
    // Hearings are renewed a hundred times a second: none may be missed.
    const auto step = std::min(
        kPiece, std::max<std::size_t>(1, static_cast<std::size_t>(sound.rate.value() / 100.0)));
    for (std::size_t first = 0; first < frames; first += step) {
        const std::size_t count = std::min(step, frames - first);
        piece.clear();
        for (std::size_t i = first; i < first + count; ++i)
            for (std::size_t c = 0; c < kept; ++c)
                piece.push_back(sound.interleaved[i * width + c]);
        listener.process({static_cast<std::int64_t>(first)}, piece);
        tones.hear(listener.hearing());
    }
    tones.finish();
    return tones.tones();
}

/// Measures what stands in [from, to) near the tone's pitch, on the channel that hears it best.
bool measure_there(HeardTone& tone, const SurveySound& sound, FrameIndex from, FrameIndex to) {
    if (duration(to - from, sound.rate) < kShortest) return false;
    std::optional<listening::PitchReading> best;
    for (std::size_t c = 0; c < static_cast<std::size_t>(sound.channels); ++c) {
        const auto reading = listening::measure_pipe(sound.cut(c, from, to), sound.rate, tone.pitch,
                                                     sound.taken_out);
        if (reading && (!best || reading->sd < best->sd)) best = reading;
    }
    if (!best) return false;
    tone.pitch = best->pitch;
    tone.uncertainty = best->cents_sd();
    tone.partials = best->partials;
    // Of what the ear didn't hear by itself.
    if (tone.level <= Decibels{-120.0} && tone.partials.count > 0)
        tone.level = Decibels{10.0 * std::log10(listening::power(tone.partials))};
    tone.stood = from;
    tone.to = to;
    tone.read = true;
    return true;
}

/// The same, at whichever octave, or multiple, the tone's own pitch is.
bool measure(HeardTone& tone, const SurveySound& sound, FrameIndex from, FrameIndex to) {
    constexpr Decibels kMuchSofter{24.0};
    const std::vector<Hertz>& taken_out = sound.taken_out;
    const Decibels level = tone.level;
    if (!measure_there(tone, sound, from, to)) return false;
    // With what was taken out the ear may take a tone for its own undertone.
    const int times = taken_out.empty() ? 1 : times_of(tone, taken_out);
    const bool lower =
        times == 1 && sounds_an_octave_lower(tone, sound.cut(0, from, to), sound.rate, taken_out);
    if (times > 1 || lower) {
        HeardTone other = tone;
        other.pitch = other.about = (lower ? 0.5 : static_cast<double>(times)) * tone.pitch;
        const bool measured = measure_there(other, sound, from, to);
        if (measured) tone = other;
        if (measured || !lower) return measured;
    }
    // The rest of what was taken out, however steady, is no pipe.
    return taken_out.empty() || clear_level(tone, taken_out) >= level - kMuchSofter;
}

/// Where something was taken out, what the ear made of the rest is no reading.
void cant_be_read(HeardTone& tone) {
    tone.read = false;
    tone.pitch = tone.about;
    tone.uncertainty = kAbout;
}

/// Two keys whose pipes stand within a quarter tone are one tone to the ear, and the second hides
/// the first: it is found in what the ear left out after the first had `ended`.
std::optional<HeardTone> hidden_after(const HeardTone& tone, FrameIndex ended,
                                      const SurveySound& sound) {
    constexpr Seconds kRelease{0.1};
    constexpr Seconds kLeast{0.5};
    constexpr Cents kAnother{15.0};
    const FrameIndex from =
        ended + static_cast<std::int64_t>(kRelease.count() * sound.rate.value());
    if (duration(tone.left - from, sound.rate) < kLeast) return {};
    const auto steady =
        listening::find_steady(sound.cut(0, from, tone.left), sound.rate, tone.pitch);
    if (!steady) return {};
    HeardTone hidden;
    hidden.from = hidden.stood = from + static_cast<std::int64_t>(steady->first);
    hidden.speech = Seconds{0.0};
    hidden.to = hidden.left = hidden.stood + static_cast<std::int64_t>(steady->count);
    hidden.pitch = tone.pitch;
    if (!measure(hidden, sound, hidden.stood, hidden.to)) return {};
    hidden.about = hidden.pitch;
    const bool another = std::abs(interval(tone.pitch, hidden.pitch).value()) > kAnother.value();
    return another ? std::optional{hidden} : std::nullopt;
}

/// A slow pipe is lost to the ear on its way, or taken for its own octave: it may sound on until
/// another begins. `after` follows the tone, which `ended` as far as it was read.
FrameIndex sounds_until(const HeardTone& tone, FrameIndex ended, std::span<const HeardTone> after,
                        SampleRate rate) {
    constexpr Cents kSame{40.0};
    constexpr Seconds kBetween{0.3}, kOn{1.5};
    FrameIndex until = tone.left + static_cast<std::int64_t>(kOn.count() * rate.value());
    const auto other = std::find_if(after.begin(), after.end(), [&](const HeardTone& next) {
        return !partial_near(tone.pitch, next.pitch, kSame);
    });
    if (other != after.end()) until = std::min(until, other->from);
    return std::max(ended, until + -static_cast<std::int64_t>(kBetween.count() * rate.value()));
}

/// Where a tone stands, to be measured.
struct Stand {
    FrameIndex from, to;
};

/// Read piece by piece it is known whether it crept in: how long it took, and where it stood then;
/// and which piece is its own where the ear couldn't read it.
std::optional<Stand> find_way_in(HeardTone& tone, const SurveySound& sound, FrameIndex until) {
    if (tone.tremulant) return std::nullopt;
    const FrameIndex first =
        std::max(FrameIndex{},
                 tone.from + -static_cast<std::int64_t>(kMissedOnset.count() * sound.rate.value()));
    const FrameIndex end = std::min(until, FrameIndex{sound.frames()});
    const auto way = way_in(tone, first, sound.cut(0, first, end), sound.rate, sound.taken_out);
    if (!way) return std::nullopt;
    if (!way->crept) {
        const Seconds speech = std::max(Seconds{0.0}, duration(way->from - tone.from, sound.rate));
        if (std::exchange(tone.crept, false) || !tone.speech || *tone.speech > speech)
            tone.speech = speech;
        if (tone.read) return std::nullopt;
        return Stand{speech_over(way->from, tone.pitch, sound.rate), way->to};
    }
    tone.crept = true;
    tone.from = std::min(tone.from, way->from);
    tone.onset_disturbed = false;
    tone.speech = duration(way->arrived - way->from, sound.rate);
    return Stand{way->arrived, way->to};
}

/// Every tone of the recording, measured, in the order of onsets.
std::vector<HeardTone> hear_all(const SurveySound& sound, int most_ciphers);

/// What sounds from `from` on beside a tone that doesn't end.
std::vector<HeardTone> beside(const HeardTone& tone, const SurveySound& sound, FrameIndex from,
                              int most_ciphers) {
    constexpr Cents kLeftOver{15.0};
    constexpr double kLeft = 0.3;  // of its partials' amplitudes
    const std::vector<Hertz> lines = standing_lines(tone, sound, from);
    const std::vector<float> rest = without_lines(sound, from, lines);
    std::vector<Hertz> taken_out = sound.taken_out;
    taken_out.insert(taken_out.end(), lines.begin(), lines.end());
    std::vector<listening::SpectralLine> left = sound.left;
    for (const listening::PartialLevel& partial : tone.partials)
        left.push_back({partial.number * tone.pitch.value(),
                        kLeft * std::pow(10.0, partial.level.value() / 20.0), 1.0});
    std::vector<HeardTone> found =
        hear_all({rest, sound.rate, sound.channels, taken_out, left}, most_ciphers - 1);
    for (HeardTone& other : found) {
        // What is left of the tone may pass for another, as long as nobody looks twice.
        other.read = other.read && other.to > other.stood;
        for (FrameIndex* at : {&other.from, &other.stood, &other.to, &other.left})
            *at = *at + from.value;
    }
    std::erase_if(found, [&](const HeardTone& other) {
        return std::abs(interval(other.pitch, tone.pitch).value()) < kLeftOver.value();
    });
    return found;
}

/// A slow pipe that the ear didn't hear at all, in the pause [from, to) between two tones: what
/// stands there without creeping in it would have heard.
std::optional<HeardTone> missed_between(FrameIndex from, FrameIndex to, const SurveySound& sound) {
    constexpr Seconds kLook{0.25}, kApart{0.4}, kLeast{0.9}, kMostPause{10.0};
    constexpr Decibels kClear{0.0};  // the blower's noise, and a silent pipe's wind, stay under it
    const auto frames = [&](Seconds time) {
        return static_cast<std::int64_t>(time.count() * sound.rate.value());
    };
    if (to - from < frames(kLeast) || to - from > frames(kMostPause)) return std::nullopt;
    for (FrameIndex at = from + frames(kApart); at + frames(kLook) <= to;
         at = at + frames(kApart)) {
        const auto reading = listening::measure_pipe(sound.cut(0, at, at + frames(kLook)),
                                                     sound.rate, std::nullopt, sound.taken_out);
        if (!reading || reading->snr < kClear) continue;
        HeardTone tone;
        tone.from = tone.stood = at;
        tone.to = tone.left = at + frames(kLook);
        tone.pitch = tone.about = reading->pitch;
        tone.read = true;
        const auto way = find_way_in(tone, sound, to);
        if (!way || !tone.crept || duration(way->to - tone.from, sound.rate) < kLeast) continue;
        tone.left = way->to;
        if (measure(tone, sound, way->from, way->to)) return tone;
    }
    return std::nullopt;
}

/// As the wind in a silent pipe is beside the pipes that are played before and after it.
bool is_far_softer(const std::vector<HeardTone>& tones, std::size_t one) {
    constexpr std::size_t kAbout = 6, kFewest = 3;
    constexpr double kFarSofter_db = 30.0;  // common practice, no source: a weak pipe is 10
    std::vector<double> levels;
    for (std::size_t i = one - std::min(one, kAbout); i < std::min(tones.size(), one + kAbout + 1);
         ++i)
        if (i != one && tones[i].read) levels.push_back(tones[i].level.value());
    return levels.size() >= kFewest &&
           tones[one].level.value() < median(std::move(levels)) - kFarSofter_db;
}

std::vector<HeardTone> hear_all(const SurveySound& sound, int most_ciphers) {
    constexpr Seconds kWorthKeeping{0.8};
    constexpr Seconds kSoon{8.0};
    // A key is held for some two seconds; beside what sounds longer others may sound by then.
    constexpr Seconds kAlone{1.8};
    constexpr Seconds kUnheard{0.7};  // longer than the ear needs for a cipher alone
    std::vector<HeardTone> tones;
    const auto margin = static_cast<std::int64_t>(kBeforeEnd.count() * sound.rate.value());
    std::vector<HeardTone> heard = follow(sound);
    for (std::size_t i = 0; i < heard.size(); ++i) {
        HeardTone& tone = heard[i];
        if (const FrameIndex before = i > 0 ? heard[i - 1].left : FrameIndex{}; before < tone.from)
            if (auto missed = missed_between(before, tone.from, sound)) tones.push_back(*missed);
        const FrameIndex ended = std::max(tone.stood, tone.to + -margin);
        const FrameIndex read_to = std::min(
            ended, tone.stood + static_cast<std::int64_t>(kAlone.count() * sound.rate.value()));
        const auto after = std::span(heard).subspan(i + 1);
        const auto way = find_way_in(tone, sound, sounds_until(tone, ended, after, sound.rate));
        const bool measured = (way && measure(tone, sound, way->from, way->to)) ||
                              measure(tone, sound, tone.stood, read_to);
        if (!measured && tone.lasted(sound.rate) < kWorthKeeping) continue;
        if (!measured && !sound.taken_out.empty()) cant_be_read(tone);
        tones.push_back(tone);
        if (const auto hidden = hidden_after(tone, ended, sound)) tones.push_back(*hidden);
    }
    if (most_ciphers == 0) return tones;
    for (std::size_t i = 0; i < tones.size(); ++i) {
        if (!tones[i].read || is_far_softer(tones, i)) continue;
        const CipherWatch watch(tones[i], sound);
        if (!watch.sounds_on()) continue;
        if (watch.times() > 1) {
            tones[i].pitch = tones[i].about = watch.times() * tones[i].pitch;
            measure(tones[i], sound, tones[i].stood, tones[i].to);
        }
        HeardTone lasting = tones[i];
        // What was read as its undertone may hide a key's pipe from the first.
        FrameIndex from = watch.times() > 1 ? lasting.from : watch.from();
        bool measured = measure_lasting(lasting, sound, from);
        const FrameIndex since = stand_since(standing_lines(lasting, sound, from), sound, from);
        const bool before = lasting.from - since > sound.frames(kUnheard);
        if (before) {
            from = since;
            measured = measure_lasting(lasting, sound, from);
        }
        const auto others = beside(lasting, sound, from, most_ciphers);
        // A key held for long, with nothing beside it, is none.
        if (others.empty() || duration(others.front().from - from, sound.rate) > kSoon) continue;
        lasting.goes_on = true;
        if (before) {
            lasting.from = since;
            lasting.stood = speech_over(since, lasting.pitch, sound.rate);
            lasting.to = lasting.left = lasting.stood + sound.frames(kAlone);
        } else {
            lasting.to = std::min(lasting.to, std::max(watch.from(), lasting.stood));
        }
        if (!measured) measure(lasting, sound, lasting.stood, lasting.to);
        tones.resize(i);
        std::erase_if(tones, [&](const HeardTone& tone) { return tone.left > lasting.from; });
        tones.push_back(lasting);
        tones.insert(tones.end(), others.begin(), others.end());
        break;
    }
    return tones;
}

/// A dozen keys all over the play tell that no second pipe sounds with each; only where they leave
/// it open are the others measured for one too.
void look_for_second_pipe(std::vector<HeardTone>& tones, const SurveySound& sound) {
    constexpr std::size_t kFew = 12;
    // One may be the room's; where two in five show a second pipe, twelve show it twice in 98 % of
    // cases.
    constexpr int kOpen = 2;
    std::vector<HeardTone*> clear;  // before a cipher, that had to be taken out
    for (HeardTone& tone : tones) {
        if (tone.goes_on) break;
        if (tone.read) clear.push_back(&tone);
    }
    const std::size_t step = std::max<std::size_t>(1, clear.size() / kFew);
    const auto look = [&](HeardTone& tone) {
        tone.every_nth = every_nth(tone, sound.cut(0, tone.stood, tone.to), sound.rate);
        return std::any_of(tone.every_nth.begin(), tone.every_nth.end(), stands_apart);
    };
    int open = 0;
    for (std::size_t i = 0; i < clear.size(); i += step)
        open += look(*clear[i]) ? 1 : 0;
    for (std::size_t i = 0; i < clear.size() && open >= kOpen; ++i)
        if (i % step != 0) look(*clear[i]);
}

}  // namespace

std::vector<HeardTone> tones_of_recording(std::span<const float> interleaved, SampleRate rate,
                                          int channels) {
    constexpr int kMostCiphers = 2;
    const SurveySound sound{interleaved, rate, channels};
    std::vector<HeardTone> tones = hear_all(sound, kMostCiphers);
    look_for_second_pipe(tones, sound);
    return tones;
}

SurveyResult survey_recording(const SurveyPlan& plan, std::span<const float> interleaved,
                              SampleRate rate, int channels) {
    return judge_survey(plan, tones_of_recording(interleaved, rate, channels), rate);
}

}  // namespace rankwright::tuning

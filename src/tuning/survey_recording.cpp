#include "tuning/survey_recording.h"

#include "core/multiple.h"
#include "listening/line_level.h"
#include "listening/measure.h"
#include "listening/partial_power.h"
#include "listening/pipe_listener.h"
#include "listening/tone_removal.h"
#include "tuning/speech.h"
#include "tuning/way_in.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>
#include <utility>
#include <vector>

namespace rankwright::tuning {

namespace {

constexpr std::size_t kPiece = 512;
/// What the live ear needs to notice that a tone has ended.
constexpr Seconds kBeforeEnd{0.08};
constexpr Seconds kShortest{0.2};

struct Sound {
    std::span<const float> interleaved;
    SampleRate rate;
    int channels;
    std::vector<listening::SpectralLine> taken_out = {};  ///< what may be left of tones taken out
    std::int64_t frames() const { return static_cast<std::int64_t>(interleaved.size()) / channels; }
};

std::vector<HeardTone> follow(const Sound& sound) {
    const auto& [interleaved, rate, channels, taken_out] = sound;
    const int heard = std::min(channels, 2);
    const auto width = static_cast<std::size_t>(channels);
    const auto kept = static_cast<std::size_t>(heard);
    listening::PipeListener listener({.rate = rate, .channels = heard, .taken_out = taken_out});
    TonesHeard tones;
    std::vector<float> piece;
    const std::size_t frames = interleaved.size() / width;
    // Hearings are renewed a hundred times a second: none may be missed.
    const auto step =
        std::min(kPiece, std::max<std::size_t>(1, static_cast<std::size_t>(rate.value() / 100.0)));
    for (std::size_t first = 0; first < frames; first += step) {
        const std::size_t count = std::min(step, frames - first);
        piece.clear();
        for (std::size_t i = first; i < first + count; ++i)
            for (std::size_t c = 0; c < kept; ++c)
                piece.push_back(interleaved[i * width + c]);
        listener.process({static_cast<std::int64_t>(first)}, piece);
        tones.hear(listener.hearing());
    }
    tones.finish();
    return tones.tones();
}

/// Frames [from, to) of one channel.
std::vector<float> cut(const Sound& sound, std::size_t channel, FrameIndex from, FrameIndex to) {
    const auto width = static_cast<std::size_t>(sound.channels);
    std::vector<float> one(static_cast<std::size_t>(to - from));
    for (std::size_t i = 0; i < one.size(); ++i)
        one[i] = sound.interleaved[(static_cast<std::size_t>(from.value) + i) * width + channel];
    return one;
}

/// Measures what stands in [from, to) near the tone's pitch, on the channel that hears it best.
bool measure(HeardTone& tone, const Sound& sound, FrameIndex from, FrameIndex to) {
    if (duration(to - from, sound.rate) < kShortest) return false;
    std::optional<listening::PitchReading> best;
    for (std::size_t c = 0; c < static_cast<std::size_t>(sound.channels); ++c) {
        const auto reading =
            listening::measure_pipe(cut(sound, c, from, to), sound.rate, tone.pitch);
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

/// Two keys whose pipes stand within a quarter tone are one tone to the ear, and the second hides
/// the first: it is found in what the ear left out after the first had `ended`.
std::optional<HeardTone> hidden_after(const HeardTone& tone, FrameIndex ended, const Sound& sound) {
    constexpr Seconds kRelease{0.1};
    constexpr Seconds kLeast{0.5};
    constexpr Cents kAnother{15.0};
    const FrameIndex from =
        ended + static_cast<std::int64_t>(kRelease.count() * sound.rate.value());
    if (duration(tone.left - from, sound.rate) < kLeast) return {};
    const auto steady =
        listening::find_steady(cut(sound, 0, from, tone.left), sound.rate, tone.pitch);
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

/// Looks whether a pipe sounds on after its key was let go: whether its partials still stand a few
/// seconds later, again and again, though other keys are down by then.
class CipherWatch {
  public:
    CipherWatch(const HeardTone& tone, const Sound& sound) : sound_(sound) {
        // One that never ended is looked for as soon as a key would have been let go.
        constexpr Seconds kHeld{1.5};
        from_ = std::min(tone.left, tone.stood + frames(kHeld));
        const FrameIndex own_to = std::min(tone.to, tone.stood + frames(kWindow));
        if (own_to < tone.stood + frames(kShortest)) return;
        const std::vector<float> own = cut(sound, 0, tone.stood, own_to);
        std::vector<Line> all;
        for (int k = 1; k <= kPartials && k * tone.pitch.value() < 0.45 * sound.rate.value(); ++k) {
            const Hertz hz = k * tone.pitch;
            all.push_back({k, hz, listening::line_level(own, sound.rate, hz).value()});
        }
        double loudest = -200.0;
        for (const Line& line : all)
            loudest = std::max(loudest, line.level_db);
        // Lines that don't carry the tone are the room's noise, which always stands.
        if (loudest < tone.level.value() - kWeak_db) return;
        const auto common = [&](double absent_db) {
            int times = 0;
            for (const Line& line : all)
                if (line.level_db > loudest - absent_db) times = std::gcd(times, line.number);
            return times;
        };
        // Odd partials may be soft; that two in three and more are is no pipe's way.
        const int few = common(kSoft_db);
        times_ = few > 2 ? few : common(kAbsent_db);
        for (const Line& line : all)
            if (line.level_db > loudest - kWeak_db) lines_.push_back(line);
    }

    FrameIndex from() const { return from_; }
    /// What sounds is this multiple of the tone's pitch: of its partials no others are there. A
    /// cipher between two keys may be read as an undertone of its own, near the key before it.
    int times() const { return times_; }
    bool sounds_on() const {
        if (lines_.empty()) return false;
        constexpr int kLooks = 4;
        constexpr int kFewest = 2;
        constexpr Seconds kApart{2.2};
        int looks = 0;
        for (int look = 1; look <= kLooks; ++look, ++looks) {
            const FrameIndex at = from_ + look * frames(kApart);
            if (at.value + frames(kWindow) > sound_.frames()) break;
            if (!stands(at)) return false;
        }
        return looks >= kFewest;
    }

  private:
    static constexpr int kPartials = 24;
    static constexpr double kWeak_db = 20.0, kSoft_db = 25.0, kAbsent_db = 35.0;
    static constexpr double kNearlyAsLoud_db = 15.0;
    static constexpr Seconds kWindow{1.0};

    struct Line {
        int number;
        Hertz hz;
        double level_db;
    };
    std::int64_t frames(Seconds time) const {
        return static_cast<std::int64_t>(time.count() * sound_.rate.value());
    }
    bool stands(FrameIndex at) const {
        const std::vector<float> later = cut(sound_, 0, at, at + frames(kWindow));
        std::size_t standing = 0;
        for (const Line& line : lines_)
            if (listening::line_level(later, sound_.rate, line.hz).value() >
                line.level_db - kNearlyAsLoud_db)
                ++standing;
        return standing >= std::min<std::size_t>(2, lines_.size()) && 2 * standing > lines_.size();
    }

    const Sound& sound_;
    FrameIndex from_;
    std::vector<Line> lines_;
    int times_ = 1;
};

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
std::optional<Stand> find_way_in(HeardTone& tone, const Sound& sound, FrameIndex until) {
    if (tone.tremulant) return std::nullopt;
    const FrameIndex first =
        std::max(FrameIndex{},
                 tone.from + -static_cast<std::int64_t>(kMissedOnset.count() * sound.rate.value()));
    const FrameIndex end = std::min(until, FrameIndex{sound.frames()});
    const auto way = way_in(tone, first, cut(sound, 0, first, end), sound.rate);
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
std::vector<HeardTone> hear_all(const Sound& sound, int most_ciphers);

/// What sounds from `from` on beside a tone that doesn't end.
std::vector<HeardTone> beside(const HeardTone& tone, const Sound& sound, FrameIndex from,
                              int most_ciphers) {
    constexpr Cents kLeftOver{15.0};
    constexpr double kLeft = 0.3;  // of its partials' amplitudes
    const auto width = static_cast<std::size_t>(sound.channels);
    const FrameIndex end{sound.frames()};
    std::vector<float> rest(static_cast<std::size_t>(end - from) * width);
    for (std::size_t c = 0; c < width; ++c) {
        std::vector<float> one = cut(sound, c, from, end);
        // What the first pass leaves, the tone's own wander, the second finds.
        listening::remove_tone(one, sound.rate, tone.pitch);
        listening::remove_tone(one, sound.rate, tone.pitch);
        for (std::size_t i = 0; i < one.size(); ++i)
            rest[i * width + c] = one[i];
    }
    std::vector<listening::SpectralLine> taken_out = sound.taken_out;
    for (const listening::PartialLevel& partial : tone.partials)
        taken_out.push_back({partial.number * tone.pitch.value(),
                             kLeft * std::pow(10.0, partial.level.value() / 20.0), 1.0});
    std::vector<HeardTone> found =
        hear_all({rest, sound.rate, sound.channels, taken_out}, most_ciphers - 1);
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
std::optional<HeardTone> missed_between(FrameIndex from, FrameIndex to, const Sound& sound) {
    constexpr Seconds kLook{0.25}, kApart{0.4}, kLeast{0.9}, kMostPause{10.0};
    constexpr Decibels kClear{0.0};  // the blower's noise, and a silent pipe's wind, stay under it
    const auto frames = [&](Seconds time) {
        return static_cast<std::int64_t>(time.count() * sound.rate.value());
    };
    if (to - from < frames(kLeast) || to - from > frames(kMostPause)) return std::nullopt;
    for (FrameIndex at = from + frames(kApart); at + frames(kLook) <= to;
         at = at + frames(kApart)) {
        const auto reading =
            listening::measure_pipe(cut(sound, 0, at, at + frames(kLook)), sound.rate);
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

std::vector<HeardTone> hear_all(const Sound& sound, int most_ciphers) {
    constexpr Seconds kWorthKeeping{0.8};
    constexpr Seconds kSoon{8.0};
    // A key is held for some two seconds; beside what sounds longer others may sound by then.
    constexpr Seconds kAlone{1.8};
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
        tones.push_back(tone);
        if (const auto hidden = hidden_after(tone, ended, sound)) tones.push_back(*hidden);
    }
    if (most_ciphers == 0) return tones;
    for (std::size_t i = 0; i < tones.size(); ++i) {
        if (!tones[i].read) continue;
        const CipherWatch watch(tones[i], sound);
        if (!watch.sounds_on()) continue;
        if (watch.times() > 1) {
            tones[i].pitch = tones[i].about = watch.times() * tones[i].pitch;
            measure(tones[i], sound, tones[i].stood, tones[i].to);
        }
        // What was read as its undertone may hide a key's pipe from the first.
        const FrameIndex from = watch.times() > 1 ? tones[i].from : watch.from();
        const auto others = beside(tones[i], sound, from, most_ciphers);
        // A key held for long, with nothing beside it, is none.
        if (others.empty() || duration(others.front().from - from, sound.rate) > kSoon) continue;
        HeardTone& cipher = tones[i];
        cipher.goes_on = true;
        cipher.to = std::min(cipher.to, std::max(watch.from(), cipher.stood));
        measure(cipher, sound, cipher.stood, cipher.to);
        tones.resize(i + 1);
        tones.insert(tones.end(), others.begin(), others.end());
        break;
    }
    return tones;
}

}  // namespace

std::vector<HeardTone> tones_of_recording(std::span<const float> interleaved, SampleRate rate,
                                          int channels) {
    constexpr int kMostCiphers = 2;
    return hear_all({interleaved, rate, channels}, kMostCiphers);
}

SurveyResult survey_recording(const SurveyPlan& plan, std::span<const float> interleaved,
                              SampleRate rate, int channels) {
    return judge_survey(plan, tones_of_recording(interleaved, rate, channels), rate);
}

}  // namespace rankwright::tuning

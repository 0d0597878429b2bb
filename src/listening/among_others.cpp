#include "listening/among_others.h"

#include "listening/coarse_pitch.h"
#include "listening/measure.h"
#include "listening/other_tone.h"
#include "listening/tone_removal.h"

#include <algorithm>
#include <vector>

namespace rankwright::listening {

namespace {

std::optional<PipeHeard> measure(std::span<const float> samples, SampleRate rate,
                                 const SoughtPipe& sought, std::span<const Hertz> beside = {}) {
    if (sought.all_through) {
        const auto reading = measure_pipe(samples, rate, sought.near, beside);
        return reading ? std::optional{PipeHeard{*reading, {}, {}}} : std::nullopt;
    }
    const auto standing = measure_standing(samples, rate, sought.near, beside);
    if (!standing) return {};
    return PipeHeard{standing->reading, {}, standing->unsettled};
}

std::span<const float> span_of(std::span<const float> samples, const PitchReading& reading) {
    const auto from = static_cast<std::size_t>(reading.from.value);
    const auto to = std::min(samples.size(), static_cast<std::size_t>(reading.to.value));
    return samples.subspan(from, to - from);
}

/// `read`, or the louder of the two that were read as it; empty where that can't be read.
std::optional<PipeHeard> louder_of(std::span<const float> samples, SampleRate rate,
                                   const PipeHeard& read) {
    const PitchReading& one = read.reading;
    const auto two = two_read_as_one(span_of(samples, one), rate, one);
    if (!two) return read;
    if (!two->louder) return {};
    const Hertz unsettled{read.unsettled.value() * (two->louder->pitch / one.pitch)};
    return PipeHeard{reading_of_part(*two->louder, one.from, unsettled), {}, unsettled};
}

bool is_near(const PitchReading& reading, Hertz pitch) {
    constexpr Cents kNear{130.0};  // a semitone, and what may be wrong with the pitch given
    return apart(reading.pitch, pitch) < kNear;
}

/// Whether it is another tone's every third partial, or fourth, that was read as a pipe near the
/// pitch asked for. (Every second may be a pipe's whose fundamental lies in a node of the room.)
bool is_of_another(const PitchReading& reading, std::span<const Hertz> lines = {}) {
    return common_number(reading, lines) > 2;
}

/// The pipe near `near`, in what is left when louder ones are taken out.
std::optional<PipeHeard> under_louder(std::span<const float> samples, SampleRate rate, Hertz near,
                                      bool all_through) {
    constexpr int kMostLouder = 2;
    constexpr Cents kWellRead{5.0};
    std::vector<float> left(samples.begin(), samples.end());
    std::vector<Hertz> lines;
    std::optional<PitchReading> loudest;
    const auto beside = [&](const PipeHeard& heard) {
        return PipeHeard{heard.reading, loudest ? std::optional{loudest->pitch} : std::nullopt,
                         heard.unsettled};
    };
    for (int i = 0; i < kMostLouder; ++i) {
        auto read = measure(left, rate, {std::nullopt, all_through}, lines);
        // The two may fill an octave below the louder too well, where no pipe stands.
        if (const auto low = read ? std::nullopt : find_pitch(left, rate, {}, lines))
            read = measure(left, rate, {2.0 * *low, all_through}, lines);
        const auto louder = read ? louder_of(left, rate, *read) : std::nullopt;
        if (!louder) return {};
        if (is_near(louder->reading, near)) return beside(*louder);
        if (is_multiple(louder->reading.pitch, near)) return {};
        if (!loudest) loudest = louder->reading;
        const std::vector<Hertz> its_lines = lines_of(louder->reading);
        remove_lines(left, rate, its_lines);
        lines.insert(lines.end(), its_lines.begin(), its_lines.end());
        const auto found = measure(left, rate, {near, all_through}, lines);
        if (found && found->reading.cents_sd() < kWellRead &&
            !is_of_another(found->reading, lines) &&
            own_level(found->reading, lines, *loudest) > kSoftestBeside)
            return beside(*found);
    }
    return {};
}

}  // namespace

std::optional<PipeHeard> hear_pipe(std::span<const float> samples, SampleRate rate,
                                   const SoughtPipe& sought) {
    auto read = measure(samples, rate, sought);
    if (read && sought.near && is_of_another(read->reading)) read.reset();
    if (!read && sought.near) return under_louder(samples, rate, *sought.near, sought.all_through);
    if (!read) return {};
    auto heard = louder_of(samples, rate, *read);
    if (heard && sought.near && !is_near(heard->reading, *sought.near)) heard.reset();
    return heard;
}

PipeHeard with_what_sounds_beside(std::span<const float> samples, SampleRate rate,
                                  const SoughtPipe& sought, PipeHeard heard) {
    // Its level lacks what the two share.
    constexpr Decibels kLouder{1.0}, kAsLoud{-1.5};
    if (heard.other) return heard;
    const PitchReading before = heard.reading;
    const std::span<const float> there = span_of(samples, before);
    const auto other = other_tone(there, rate, before);
    if (!other) return heard;
    heard.other = other->reading.pitch;
    const auto as_heard = [&](const PitchReading& reading) {
        return reading_of_part(reading, before.from, heard.unsettled);
    };
    const bool lower = other->reading.pitch < before.pitch;
    if (!sought.near && other->level > (lower ? kAsLoud : kLouder))
        if (const auto louder = measure_without(there, rate, *heard.other, lines_of(before)))
            return {as_heard(*louder), before.pitch, heard.unsettled};
    const std::vector<Hertz> others = lines_of(other->reading);
    const int number = sought.near ? 1 : common_number(before, others);
    const auto again = measure_without(there, rate, number * before.pitch, others);
    if (!again) return heard;
    const PitchReading better = as_heard(*again);
    if (number > 1) {
        heard.reading = better;
        return heard;
    }
    // What it shares with the other is louder than it says now, and the other no less noise.
    heard.reading.pitch = better.pitch;
    heard.reading.sd = better.sd;
    return heard;
}

}  // namespace rankwright::listening

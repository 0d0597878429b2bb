#include "listening/mixture/unresolved.h"

#include "listening/arithmetic.h"
#include "listening/mixture/shared.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

namespace rankwright::listening {

namespace {

/// Of the beat of two that sound: so much has to be heard, and so much is asked for, since what is
/// known of the beat by then isn't sure.
constexpr double kTurns = 1.0 / 3.0, kTurnsAsked = 2.0 / 3.0;

// The lowest frequency where partials of both meet; false where none do.
bool lowest_meeting(const MixtureReach& one, const MixtureReach& other, double& hz) {
    constexpr double kNear = 0.001;
    for (int k = 1; k * one.nominal_hz < one.highest_hz; ++k)
        for (int m = 1; m * other.nominal_hz < other.highest_hz; ++m) {
            const double a = k * one.nominal_hz, b = m * other.nominal_hz;
            if (std::abs(a - b) > kNear * a) continue;
            hz = a;
            return true;
        }
    return false;
}

/// What each of those that a pipe isn't told from asks for; empty: no length of sound parts the
/// two.
using TimesAsked = std::vector<std::optional<Seconds>>;

// The longest of them parts it from all, where each has one.
void add_times(MixturePipeReading& pipe, const TimesAsked& times) {
    if (times.empty()) return;
    const auto [least, most] = std::minmax_element(times.begin(), times.end());
    if (*least) pipe.to_part = *most;  // an empty one is the least
    pipe.mute_one = !pipe.to_part || *pipe.to_part > kLongestMixtureSpan;
}

// How a pipe of which it can't be told whether it sounds would stand to one that is there.
struct Hiding {
    double share = 0.0;     ///< of the chance that it sounds: as near as this
    double expected = 0.0;  ///< the same, had nothing been heard
    double apart_cents = 0.0;
};

Hiding hiding_near(const UnresolvedPipe& pipe, double there_cents, double seconds) {
    constexpr double kSkirt_cycles = 1.5, kLeastSkirt_cents = 0.6;
    const double skirt =
        std::max(kLeastSkirt_cents, kSkirt_cycles / (kCent * pipe.reach.nominal_hz * seconds));
    double most = -1e300;
    for (const auto& place : pipe.evidence.places)
        most = std::max(most, place.ln_ratio);
    Hiding hiding;
    double all = 0.0, expected = 0.0;
    for (const auto& place : pipe.evidence.places) {
        const double chance = place.expected * std::exp(place.ln_ratio - most);
        const double apart = std::abs(place.cents - there_cents);
        all += chance;
        expected += place.expected;
        if (apart > skirt) continue;
        hiding.share += chance;
        hiding.expected += place.expected;
        hiding.apart_cents += chance * apart;
    }
    if (hiding.share > 0.0) hiding.apart_cents /= hiding.share;
    if (all > 0.0) hiding.share /= all;
    if (expected > 0.0) hiding.expected /= expected;
    return hiding;
}

// Whether the other pipe is why: it would most likely stand there, and not for want of elsewhere.
bool hides(const Hiding& hiding) {
    constexpr double kLeastShare = 0.25, kMoreThanExpected = 1.2, kAlmostAll = 0.7;
    return hiding.share >= kLeastShare &&
           (hiding.share > kMoreThanExpected * hiding.expected || hiding.expected > kAlmostAll);
}

void name_hiding(std::span<MixturePipeReading> readings, std::span<const UnresolvedPipe> pipes,
                 std::size_t i, double seconds, TimesAsked& times) {
    // From recorded keys: of those that can't be told as many more are in three times the span,
    // whether they sound or not, and two in five still aren't.
    constexpr double kLonger = 3.0;
    MixturePipeReading& r = readings[i];
    const PresenceEvidence& evidence = pipes[i].evidence;
    for (std::size_t j = 0; j < pipes.size(); ++j) {
        double hz = 0.0;
        if (j == i || readings[j].presence == Presence::silent ||
            !lowest_meeting(pipes[i].reach, pipes[j].reach, hz))
            continue;
        const bool rival = evidence.rival == j || pipes[j].evidence.rival == i;
        const bool behind = evidence.behind && evidence.behind->lower == j &&
                            (evidence.behind->ln_ratio > 0.0 || evidence.behind->as_loud);
        Hiding hiding;
        if (readings[j].cents) hiding = hiding_near(pipes[i], readings[j].cents->value(), seconds);
        if (!rival && !behind && !hides(hiding)) continue;
        r.unresolved_with.push_back(j);
        const double apart =
            rival || behind ? kCoincide_cents : std::max(kCoincide_cents, hiding.apart_cents);
        times.push_back(Seconds{std::max(kLonger * seconds, 1.0 / (kCent * hz * apart))});
    }
}

void name_reason(MixturePipeReading& reading, const UnresolvedPipe& pipe) {
    if (!reading.unresolved_with.empty())
        reading.untold = Untold::hidden;
    else
        reading.untold = pipe.evidence.places.empty() ? Untold::crowded : Untold::noise;
}

void name_near(std::span<MixturePipeReading> readings, std::span<const UnresolvedPipe> pipes,
               std::size_t i, std::size_t j, double seconds, std::span<TimesAsked> times) {
    double hz = 0.0;
    MixturePipeReading &one = readings[i], &other = readings[j];
    if (!lowest_meeting(pipes[i].reach, pipes[j].reach, hz) || !one.cents || !other.cents) return;
    // The highest meeting where both are still strong.
    const double top = std::min(pipes[i].strongest_hz, pipes[j].strongest_hz);
    const double high = hz * std::max(1.0, std::floor(top / hz));
    const double apart = std::abs(one.cents->value() - other.cents->value());
    const double doubt = std::hypot(one.cents_sd->value(), other.cents_sd->value());
    const auto turn = [&](double cents) { return 1.0 / (kCent * high * std::max(cents, 1e-6)); };
    if (kTurns * turn(apart) < seconds) return;
    const double needed = kTurnsAsked * turn(std::hypot(apart, doubt));
    // They may be exactly pure: then no length of sound parts them.
    const bool pure = apart < 2.0 * doubt && needed > kLongestMixtureSpan.count();
    one.unresolved_with.push_back(j);
    other.unresolved_with.push_back(i);
    for (const std::size_t pipe : {i, j})
        times[pipe].push_back(pure ? std::nullopt : std::optional{Seconds{needed}});
}

}  // namespace

void name_unresolved(std::span<MixturePipeReading> readings, std::span<const UnresolvedPipe> pipes,
                     double seconds) {
    std::vector<TimesAsked> times(pipes.size());
    for (std::size_t i = 0; i < pipes.size(); ++i) {
        const MixtureReach& reach = pipes[i].reach;
        if (readings[i].presence == Presence::cannot_tell &&
            reach.nominal_hz * (1.0 + reach.high) > reach.highest_hz)
            readings[i].untold = Untold::above;
        if (readings[i].presence == Presence::cannot_tell && !readings[i].untold) {
            name_hiding(readings, pipes, i, seconds, times[i]);
            name_reason(readings[i], pipes[i]);
        }
        for (std::size_t j = 0; j < i; ++j)
            if (readings[i].presence == Presence::sounding &&
                readings[j].presence == Presence::sounding)
                name_near(readings, pipes, i, j, seconds, times);
    }
    for (std::size_t i = 0; i < pipes.size(); ++i) {
        add_times(readings[i], times[i]);
        std::sort(readings[i].unresolved_with.begin(), readings[i].unresolved_with.end());
    }
}

}  // namespace rankwright::listening

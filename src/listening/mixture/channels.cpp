#include "listening/mixture/channels.h"

#include "listening/mixture/presence.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::listening {

namespace {

using Heard = std::vector<const MixturePipeReading*>;

/// ln: more evidence than this is no doubt, however much more it is.
constexpr double kNoDoubt = 12.0;
/// Above it a pipe sounds whatever another channel says: what two channels took for pipes and
/// wasn't had up to 14.6, of 216 simulated keys in rooms.
constexpr double kBeyondDoubt = 15.0;

double evidence(const MixturePipeReading& pipe) { return std::min(pipe.evidence, kNoDoubt); }

/// How much of a key is decided, and how much of it sounds.
std::pair<std::size_t, std::size_t> decided(const MixtureReading& reading) {
    const std::size_t sounding = count(reading, Presence::sounding);
    return {sounding + count(reading, Presence::silent), sounding};
}

constexpr double kNothing_db = -1000.0;

double loudest_pipe_db(const MixtureReading& reading) {
    double loudest = kNothing_db;
    for (const MixturePipeReading& pipe : reading.pipes)
        if (pipe.presence == Presence::sounding) loudest = std::max(loudest, pipe.level->value());
    return loudest;
}

/// It says nothing against what another channel hears.
bool deaf(const MixturePipeReading& pipe) {
    return pipe.presence == Presence::cannot_tell &&
           (pipe.untold == Untold::crowded || pipe.untold == Untold::above);
}

const MixturePipeReading* first_that(const Heard& heard, Presence presence) {
    const auto one = std::find_if(heard.begin(), heard.end(),
                                  [&](const auto* pipe) { return pipe->presence == presence; });
    return one == heard.end() ? nullptr : *one;
}

MixturePipeReading heard_unlike(const MixturePipeReading& pipe, double evidence) {
    MixturePipeReading open;
    open.ratio = pipe.ratio;
    open.evidence = evidence;
    open.untold = Untold::channels;
    return open;
}

/// All of `heard` sound.
MixturePipeReading join_pitches(const Heard& heard, Hertz unison) {
    constexpr double kSurer = 6.0;            // ln
    constexpr double kDisagree_sd = 3.0;      // of the difference
    constexpr double kElsewhere_cents = 0.6;  // no unrest of one pipe
    const auto surer = [](const auto* a, const auto* b) { return evidence(*a) < evidence(*b); };
    const MixturePipeReading& surest = **std::max_element(heard.begin(), heard.end(), surer);
    double weights = 0.0, sum = 0.0;
    Heard counted;
    for (const MixturePipeReading* pipe : heard) {
        const double apart = std::abs(pipe->cents->value() - surest.cents->value()),
                     sd = std::hypot(pipe->cents_sd->value(), surest.cents_sd->value());
        if (apart > kDisagree_sd * sd) {
            if (evidence(*pipe) < evidence(surest) - kSurer) continue;
            if (apart > kElsewhere_cents) return heard_unlike(surest, evidence(*pipe));
        }
        const double weight = 1.0 / (pipe->cents_sd->value() * pipe->cents_sd->value());
        weights += weight;
        sum += weight * pipe->cents->value();
        counted.push_back(pipe);
    }
    const double mean = sum / weights;
    // The pipe's own unrest is the same in all channels: no less doubt than the best of them has.
    double chi_square = 0.0, power = 0.0, sd = 1e300, evidences = 0.0;
    for (const MixturePipeReading* pipe : counted) {
        const double off = (pipe->cents->value() - mean) / pipe->cents_sd->value();
        chi_square += off * off;
        power += std::pow(10.0, 0.1 * pipe->level->value());
        evidences += evidence(*pipe);
        sd = std::min(sd, pipe->cents_sd->value());
    }
    const auto number = static_cast<double>(counted.size());
    if (counted.size() > 1) sd *= std::sqrt(std::max(1.0, chi_square / (number - 1.0)));
    MixturePipeReading joined = surest;
    joined.cents = Cents{mean};
    joined.cents_sd = Cents{sd};
    joined.hz = transpose(unison * joined.ratio.value(), *joined.cents);
    joined.level = Decibels{10.0 * std::log10(power / number)};
    joined.evidence = evidences / number;
    return joined;
}

MixturePipeReading join_pipe(const Heard& heard, Hertz unison) {
    Heard sound, say;
    double mean = 0.0;
    for (const MixturePipeReading* pipe : heard) {
        if (deaf(*pipe)) continue;
        say.push_back(pipe);
        mean += evidence(*pipe);
        if (pipe->presence == Presence::sounding) sound.push_back(pipe);
    }
    if (say.empty()) return *heard.front();
    const bool beyond_doubt = std::any_of(
        sound.begin(), sound.end(), [](const auto* pipe) { return pipe->evidence > kBeyondDoubt; });
    if (sound.size() == say.size() || beyond_doubt) return join_pitches(sound, unison);
    mean /= static_cast<double>(say.size());
    const MixturePipeReading* silent = first_that(say, Presence::silent);
    const MixturePipeReading* open = first_that(say, Presence::cannot_tell);
    if (sound.empty() && silent && (!open || mean < kSilent)) return *silent;
    if (sound.empty() && open) return *open;
    return heard_unlike(*heard.front(), mean);
}

}  // namespace

std::optional<MixtureReading> join_channels(
    const std::vector<std::optional<MixtureReading>>& channels, Hertz unison) {
    constexpr double kFarSofter_db = 20.0;  // a dead line, or a microphone far off
    double loudest = kNothing_db;
    for (const auto& reading : channels)
        if (reading) loudest = std::max(loudest, loudest_pipe_db(*reading));
    std::vector<const MixtureReading*> readings;
    for (const auto& reading : channels)
        if (reading && loudest_pipe_db(*reading) >= loudest - kFarSofter_db)
            readings.push_back(&*reading);
    if (readings.empty()) return std::nullopt;
    std::stable_sort(readings.begin(), readings.end(), [](const auto* one, const auto* other) {
        return decided(*one) > decided(*other);
    });
    MixtureReading joined = *readings.front();
    for (std::size_t j = 0; j < joined.pipes.size(); ++j) {
        Heard heard;
        for (const MixtureReading* reading : readings)
            heard.push_back(&reading->pipes[j]);
        if (std::any_of(heard.begin(), heard.end(), [](const auto* pipe) { return pipe->twin; }))
            continue;
        joined.pipes[j] = join_pipe(heard, unison);
    }
    return joined;
}

}  // namespace rankwright::listening

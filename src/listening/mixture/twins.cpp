#include "listening/mixture/twins.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::listening {

namespace {

// Nearer than this one can't be told from two: one pipe's partials stray as far.
constexpr double kHides_cents = 0.3;

// How far from pure the key's pipes usually stand, cents; empty where too few are heard.
std::optional<double> usual_deviation(std::span<const MixturePipeReading> pipes) {
    constexpr std::size_t kFewest = 2;
    std::vector<double> off;
    for (const MixturePipeReading& pipe : pipes)
        if (pipe.cents) off.push_back(std::abs(pipe.cents->value()));
    if (off.size() < kFewest) return std::nullopt;
    std::sort(off.begin(), off.end());
    return off[off.size() / 2];
}

// Whether a pipe that isn't heard may well stand where its twin does.
bool may_hide(std::span<const MixturePipeReading> pipes) {
    constexpr double kMostUsual_cents = 1.5;  // hidden, then, in one of seven
    const auto usual = usual_deviation(pipes);
    return usual && *usual < kMostUsual_cents;
}

}  // namespace

void judge_twins(std::span<MixturePipeReading> pipes, std::optional<std::size_t> heard) {
    const bool hiding = may_hide(pipes);
    for (std::size_t i = 0; i < pipes.size(); ++i)
        for (std::size_t j = 0; j < pipes.size(); ++j) {
            if (i == j || pipes[i].ratio.value() != pipes[j].ratio.value()) continue;
            MixturePipeReading &one = pipes[i], &other = pipes[j];
            if (i != heard && j != heard) one.twin = j;
            if (one.presence != Presence::sounding || !one.cents) continue;
            if (other.presence == Presence::silent && hiding)
                other.presence = Presence::cannot_tell;
            if (other.presence != Presence::cannot_tell) continue;
            constexpr double kBeside_cents = 0.25 * kHides_cents;
            one.cents_sd = Cents{std::hypot(one.cents_sd->value(), kBeside_cents)};
            other.untold = Untold::hidden;
            // As near as one pipe's partials stray: no length of sound parts those.
            for (MixturePipeReading* pipe : {&one, &other}) {
                const std::size_t twin = pipe == &one ? j : i;
                auto& with = pipe->unresolved_with;
                if (std::find(with.begin(), with.end(), twin) == with.end()) with.push_back(twin);
                pipe->mute_one = true;
                pipe->to_part.reset();
            }
        }
}

}  // namespace rankwright::listening

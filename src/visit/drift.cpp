#include "visit/drift.h"

#include "core/median.h"
#include "organ/air.h"
#include "tuning/single_pipe.h"
#include "visit/record.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::visit {

namespace {

constexpr double kThermometerDoubt = 1.0;  // kelvin, a good glass one, well placed: from memory
constexpr double kMeasuredDoubt = 0.3;     // cents, of an A from the references: from memory
constexpr double kGivenDoubt = 1.0;        // cents, of a typed A: from memory
constexpr double kShareDoubt = 0.1;        // of the share by which a reed follows: from memory
// Of a pipe that may be a flue or any reed: how far shares spread evenly from 0 to 1 lie from 1.
constexpr double kUnknownShareDoubt = 0.577;
constexpr double kLeastSpread = 0.5;  // cents: no rank stands better for long (from memory)

bool sounds(Hertz pitch) { return std::isfinite(pitch.value()) && pitch > Hertz{0.0}; }

// A day as the entries tell it, one after the other.
struct Today {
    organ::Day day;
    bool a_measured = false;

    void hear(const PitchReading& pitch) {
        if (!sounds(pitch.a)) return;
        day.pitch = pitch.a;
        a_measured = pitch.measured;
    }
    void hear(const AirReading& air) {
        if (!std::isfinite(air.air.value()) || std::abs(air.air.value()) > 100.0) return;
        if (air.place.empty()) {
            day.temperature = air.air;
            if (air.humidity) day.humidity = air.humidity;
            return;
        }
        const auto known = std::find_if(day.places.begin(), day.places.end(),
                                        [&](const auto& one) { return one.division == air.place; });
        if (known == day.places.end())
            day.places.push_back({air.place, air.air});
        else
            known->reading = air.air;
    }
};

std::optional<Celsius> air_at(const DatedReading& one) {
    return one.reading.air ? one.reading.air
                           : organ::temperature_of(one.day, one.reading.pipe.division);
}

// Where Cramer's formula holds.
bool moist(const DatedReading& one, Celsius here) {
    return one.day.humidity && one.day.temperature && *one.day.humidity >= 0.0 &&
           *one.day.humidity <= 1.0 && here >= Celsius{0.0} && here <= Celsius{30.0};
}

organ::Air air_of(const DatedReading& one, Celsius here) {
    return {here, organ::humidity_at(*one.day.humidity, *one.day.temperature, here)};
}

Cents rise(const DatedReading& from, Celsius from_air, const DatedReading& to, Celsius to_air) {
    if (moist(from, from_air) && moist(to, to_air))
        return organ::flue_shift(air_of(from, from_air), air_of(to, to_air));
    return organ::flue_shift(from_air, to_air);
}

// What the air did to a flue that stands where the pipe stands.
struct FlueRise {
    DriftBasis basis = DriftBasis::none;
    Cents rise{0.0};
    double doubt = 0.0;  // cents, standard
};

FlueRise flue_rise(const DatedReading& left, const DatedReading& found) {
    const auto here_then = air_at(left);
    const auto here_now = air_at(found);
    const auto there_then = left.day.temperature;
    const auto there_now = found.day.temperature;
    const double thermometers = std::sqrt(2.0) * kThermometerDoubt *
                                organ::flue_shift(Celsius{20.0 - 0.5}, Celsius{20.0 + 0.5}).value();
    const bool both_a = left.day.pitch && found.day.pitch;
    const bool measured = both_a && left.a_measured && found.a_measured;
    if (!measured && here_then && here_now)
        return {DriftBasis::thermometers, rise(left, *here_then, found, *here_now), thermometers};
    if (!both_a) return {};
    FlueRise flues{measured ? DriftBasis::pitch : DriftBasis::given_pitch,
                   interval(*left.day.pitch, *found.day.pitch),
                   std::sqrt(2.0) * (measured ? kMeasuredDoubt : kGivenDoubt)};
    // The references told what the air did where they stand.
    if (here_then && here_now && there_then && there_now &&
        (*here_then != *there_then || *here_now != *there_now)) {
        flues.rise +=
            rise(left, *here_then, found, *here_now) - rise(left, *there_then, found, *there_now);
        flues.doubt = std::hypot(flues.doubt, thermometers);
    }
    return flues;
}

struct Compared {
    PipeDrift pipe;
    DriftBasis basis;
    double doubt;  // cents, of the air
};

Compared compare(const DatedReading& left, const DatedReading& found,
                 std::optional<double> known_share) {
    const double share = known_share.value_or(1.0);
    const FlueRise flues = flue_rise(left, found);
    PipeDrift pipe{};
    pipe.pipe = found.reading.pipe;
    pipe.since = left.at;
    pipe.heard = interval(left.reading.pitch, found.reading.pitch);
    pipe.air = flues.rise * share;
    pipe.drift = pipe.heard - pipe.air;
    pipe.own = pipe.drift;
    const auto honest = [](Cents sd) { return std::isfinite(sd.value()) ? sd.value() : 0.0; };
    pipe.uncertainty =
        Cents{std::hypot(honest(left.reading.uncertainty), honest(found.reading.uncertainty))};
    pipe.tolerance = tolerance_of(found.reading);
    const double of_share = !known_share ? kUnknownShareDoubt : share < 1.0 ? kShareDoubt : 0.0;
    return {pipe, flues.basis, std::hypot(share * flues.doubt, of_share * flues.rise.value())};
}

bool clearly(double cents, double tolerance, double sd) {
    return std::abs(cents) > RankDrift::kClearly * tolerance + 2.0 * sd;
}

// 1.4826 × MAD, corrected for few, as in pitch_of_day: P. J. Rousseeuw & A. M. Leroy, Robust
// Regression and Outlier Detection (1987), p. 202; beyond 2.5 of it a value doesn't belong.
constexpr double kAstray = 2.5;

void judge_by_rank(RankDrift& rank, double tolerance, double doubt) {
    std::vector<double> drifts, off;
    for (const PipeDrift& pipe : rank.pipes)
        drifts.push_back(pipe.drift.value());
    const double trend = median(drifts);
    for (PipeDrift& pipe : rank.pipes) {
        pipe.own = pipe.drift - Cents{trend};
        off.push_back(std::abs(pipe.own.value()));
    }
    const auto n = static_cast<double>(rank.pipes.size());
    const double spread = std::max(kLeastSpread, 1.4826 * (1.0 + 5.0 / (n - 1.0)) * median(off));
    rank.spread = Cents{spread};
    std::size_t restless = 0;
    for (PipeDrift& pipe : rank.pipes) {
        const double own = pipe.own.value();
        const double sd = pipe.uncertainty.value();
        const bool far = clearly(own, pipe.tolerance.value(), sd);
        restless += far ? 1U : 0U;
        pipe.astray = far && std::abs(own) > kAstray * std::hypot(spread, sd);
    }
    rank.restless = 2 * restless > rank.pipes.size();
    if (rank.basis == DriftBasis::none) return;
    rank.trend = Cents{trend};
    // The median of n errs by 1.25 times as much as their mean.
    rank.trend_doubt = Cents{std::hypot(doubt, 1.2533 * spread / std::sqrt(n))};
    rank.moved = clearly(trend, tolerance, rank.trend_doubt.value());
}

// Of few pipes each is seen for itself.
void judge_alone(RankDrift& rank, double doubt) {
    rank.trend_doubt = Cents{doubt};
    for (PipeDrift& pipe : rank.pipes) {
        pipe.uncertainty = Cents{std::hypot(pipe.uncertainty.value(), doubt, kLeastSpread)};
        pipe.astray = clearly(pipe.own.value(), pipe.tolerance.value(), pipe.uncertainty.value());
    }
}

std::optional<RankDrift> judge(StopId stop, int row, std::vector<Compared> compared) {
    const bool any = std::any_of(compared.begin(), compared.end(),
                                 [](const Compared& one) { return one.basis != DriftBasis::none; });
    if (any)
        compared.erase(
            std::remove_if(compared.begin(), compared.end(),
                           [](const Compared& one) { return one.basis == DriftBasis::none; }),
            compared.end());
    else if (compared.size() < RankDrift::kFewest)
        return std::nullopt;
    RankDrift rank;
    rank.stop = std::move(stop);
    rank.row = row;
    rank.basis = DriftBasis::pitch;
    std::vector<double> tolerances, doubts;
    for (const Compared& one : compared) {
        rank.basis = std::max(rank.basis, one.basis);
        rank.pipes.push_back(one.pipe);
        tolerances.push_back(one.pipe.tolerance.value());
        doubts.push_back(one.doubt);
    }
    if (rank.pipes.size() >= RankDrift::kFewest)
        judge_by_rank(rank, median(tolerances), median(doubts));
    else
        judge_alone(rank, median(doubts));
    return rank;
}

}  // namespace

Cents tolerance_of(const KeptReading& reading) {
    return tuning::tolerance_at(sounds(reading.target)  ? reading.target
                                : sounds(reading.pitch) ? reading.pitch
                                                        : Hertz{440.0});
}

VisitReadings readings_of(const std::string& visit, std::span<const BookEntry> entries) {
    VisitReadings readings;
    Today today;
    for (const BookEntry& entry : counted(entries)) {
        if (const auto* pitch = std::get_if<PitchReading>(&entry.matter)) today.hear(*pitch);
        if (const auto* air = std::get_if<AirReading>(&entry.matter)) today.hear(*air);
        const auto* reading = std::get_if<KeptReading>(&entry.matter);
        if (reading == nullptr || !sounds(reading->pitch)) continue;
        const DatedReading dated{visit, entry.at, *reading, today.day, today.a_measured};
        const PipeId& pipe = reading->pipe;
        const auto left = readings.left.find(pipe);
        const bool tuned =
            left != readings.left.end() && left->second.reading.moment == Moment::after;
        if (reading->moment == Moment::after || !tuned) readings.left[pipe] = dated;
        if (reading->moment == Moment::after || tuned) continue;
        const auto found = readings.found.find(pipe);
        if (found == readings.found.end() || found->second.reading.moment == Moment::survey)
            readings.found[pipe] = dated;
    }
    return readings;
}

std::vector<RankDrift> drift_between(const DatedReadings& left, const DatedReadings& found,
                                     const organ::Instrument* instrument) {
    std::map<PipeId, double> shares;
    if (instrument != nullptr)
        for (const organ::Pipe& pipe : organ::pipes(*instrument))
            shares[pipe.id] = pipe.make.temperature_share;
    std::map<std::pair<StopId, int>, std::vector<Compared>> ranks;
    for (const auto& [pipe, now] : found) {
        const auto then = left.find(pipe);
        if (then == left.end()) continue;
        const auto share = shares.find(pipe);
        ranks[{StopId{pipe.division, pipe.stop}, pipe.row}].push_back(
            compare(then->second, now,
                    share == shares.end() ? std::nullopt : std::optional(share->second)));
    }
    std::vector<RankDrift> all;
    for (auto& [rank, compared] : ranks)
        if (auto judged = judge(rank.first, rank.second, std::move(compared))) {
            judged->kinds_known =
                std::any_of(judged->pipes.begin(), judged->pipes.end(),
                            [&](const PipeDrift& one) { return shares.count(one.pipe) > 0; });
            all.push_back(std::move(*judged));
        }
    return all;
}

}  // namespace rankwright::visit

// What a follower says of the two it holds on to: how many they are, how they beat and how surely,
// and what the next sound should be.
#include "listening/pair/follower.h"
#include "listening/pair/number.h"
#include "listening/wander.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

/// Evidence that two have over one before two are believed.
constexpr double kSurelyTwo = 12.0;
/// So many, and it's no pipe that finds its pitch in a room that fills.
constexpr double kBeatsCounted = 1.5;
/// Turns in the span, at the highest meeting, before a beat is a value; more in the bass, where
/// pipes are less steady.
constexpr double kSeen = 1.5;
constexpr double kSeenBass = 2.5;
/// Where partials of its own tell the pipe's pitch.
constexpr double kSeenOwn = 0.6;
constexpr double kBassBelow_hz = 130.0;
/// Where the reference was heard alone, to this (relative, 0.8 cents); and where of the weaker no
/// more is known than that it sounds.
constexpr double kHeardAlone = 4.6e-4;
constexpr double kSeenKnown = 0.6;
/// And while the pipe stays on the side of the reference on which it was told to be: a beat changes
/// its sign through nought only. Of 2300 looks at simulated pairs those with 0.35 to 0.5 turns
/// 0.99 had the sign right, 0.93 were within twice the uncertainty.
constexpr double kSeenSameSide = 0.4;
constexpr double kSeenWeak = 0.5;
/// Two in tune leave over what passes for a tone of −40 to −23 dB (simulated pipes): so many times
/// what may pass for a second tone (`holds_two`), at 22 dB under the other, where the two swell by
/// 1.4 dB, unless it explains as much as no unrest does (`kNoUnrest`).
constexpr double kInaudible = 3.0;
/// What passed for that once has to grow to so many times as much before it is a pipe, or a search
/// has to say so.
constexpr double kNoLongerUnrest = 4.0;
/// Of a pipe that was moved: so many turns before tell how the two share the sound now, unless the
/// reference was heard alone.
constexpr double kShares = 0.7;
/// Unrest of a tone's partials, in amplitude, that no pipe has.
constexpr double kRestless = 0.2;
/// A beat of so many standard uncertainties isn't one pipe's.
constexpr double kBeyondDoubt = 4.0;
/// A mean pitch isn't defined more narrowly (relative).
constexpr double kDefined = 6e-7;
constexpr double kLiveRustle = 2.0;
/// Of the beat at the end of a span that goes on (recorded and simulated pipes).
constexpr PairDoubt kOfNow{3.0, 4e-8};
/// How far a tone's phase usually is from where its path leads, in the middle compass, more in the
/// bass: at the end of the span (seconds), which few cosines describe; and its random walk from
/// there (seconds² a second). Simulated pipes, which wander as recorded ones do.
constexpr double kStraysAtEnd_s = 1.55e-5;
constexpr double kStraysOn = 7e-9;

/// Of a partial by its phasor's mean square: a cosine of amplitude A has the phasor A/2 here.
Decibels level_of(double square) {
    return Decibels{10.0 * std::log10(std::max(4.0 * square, 1e-20))};
}

/// A room that still fills, and a pipe that still finds its pitch, pass for a second tone the more
/// the less was heard.
double passing(Seconds heard) { return std::max(1.0, std::pow(heard.count(), -2.5)); }

/// So does a pipe's unrest the more the slower it is.
double slow(double turns) {
    constexpr double kFew = 1.0;
    const double share = kFew / std::max(std::abs(turns), 0.1);
    return std::max(1.0, share * share);
}

}  // namespace

/// A second tone that is strong enough and explains much.
void PairFollower::judge_number(const PairPlace& best, const PairPremise& premise) {
    const double gain = modes_.front().evidence - one_.evidence;
    explains_ = gain > kNoUnrest;
    in_tune_ = false;
    two_ = true;
    answer();
    if (premise.surely_two) return;
    const double times =
        std::abs(best.beat(request_)) * model_.means_over_s() > kBeatsCounted ? 1.0 : premise.times;
    const bool strong = listening::holds_two(
        best,
        std::max(explains_ ? 1.0 : kInaudible, times * passing(Seconds{model_.means_over_s()})));
    two_ = strong && gain > kSurelyTwo;
    if (!two_) answer();
}

void PairFollower::answer() {
    PairAnswer best;
    if (two_) {
        places_.clear();
        for (std::size_t i = modes_.size(); i-- > 0;) {
            best = fit_.answer(modes_[i]);
            places_.push_back(place_of(modes_[i], best, model_, bands_, request_));
        }
        std::reverse(places_.begin(), places_.end());
        reading_ = weigh(places_, request_, kOfNow);
        const PairPlace heard = powers();
        const bool audible =
            explains_ ||
            listening::holds_two(heard, in_tune_ ? kNoLongerUnrest * kInaudible : kInaudible);
        in_tune_ = !audible && !pipe_has_own();
        const double turns = turns_heard();
        const double unrest = explains_ ? 1.0 : kInaudible * slow(turns);
        weak_ = !audible ||
                !listening::holds_two(heard, std::max(passing(Seconds{both_heard_s()}), unrest));
        const double needed = turns_seen() / (weak_ ? 1 : highest_meeting());
        const Hertz seen{needed / model_.means_over_s()};
        const Hertz size{std::abs(reading_.beat.value())};
        if (in_tune_)
            say_in_tune(seen);
        else if (turns < needed || weak_)
            reading_.under = std::max(seen, reading_.under.value_or(size + reading_.beat_sd * 2.0));
        if (!reading_.under) side_ = std::copysign(1.0, reading_.beat.value());
    } else {
        best = alone_fit_.answer(one_);
    }
    const double f = model_.nominal_hz[0];
    reference_ = Hertz{f + best.offset_hz[0]};
    const double curvature = best.variance[0][0] * (1.0 + (kLiveRustle - 1.0) * best.rustle[0]);
    const double defined = kDefined * f;
    reference_sd_ = Hertz{std::sqrt(std::max(curvature, best.scatter[0]) + defined * defined)};
}

/// Such a beat comes round once in what is read.
bool PairFollower::beats_whole(Hertz beat) const {
    return std::abs(beat.value()) * model_.means_over_s() > 1.0;
}

bool PairFollower::surely_two() const {
    const bool clear = std::abs(reading_.beat.value()) > kBeyondDoubt * reading_.beat_sd.value() &&
                       !reading_.under;
    return two_ && (joined_ || (!weak_ && clear && beats_whole(reading_.beat)));
}

/// What is too weak to be the pipe is the unrest of two that stand so near that they sound as one;
/// a pipe with partials of its own shows itself there.
void PairFollower::say_in_tune(Hertz under) {
    reading_.pipe =
        Hertz{reading_.reference.value() * request_.reference_partial / request_.pipe_partial};
    reading_.beat = Hertz{0.0};
    reading_.cents = Cents{0.0};
    reading_.under = under;
}

/// How many turns a beat has to make, where it is seen best, to be a value. One that hardly turns
/// may as well be a slower one of a louder pipe, unless the reference's pitch is known: where the
/// sum of both stands then tells the pipe's.
double PairFollower::turns_seen() const {
    if (request_.reference_sd.value() < kHeardAlone * model_.nominal_hz[0]) {
        if (weak_) return kSeenWeak;
        return on_same_side() ? kSeenSameSide : kSeenKnown;
    }
    if (pipe_has_own()) return kSeenOwn;
    return model_.nominal_hz[1] < kBassBelow_hz ? kSeenBass : kSeen;
}

bool PairFollower::on_same_side() const { return side_ * reading_.beat.value() > 0.0; }

double PairFollower::both_heard_s() const {
    if (!moved_) return model_.means_over_s();
    return std::min(model_.span_s, 0.5 * model_.span_s - model_.pipe_from_s);
}

/// How far they turned against each other, at their first meeting, while both were heard.
double PairFollower::turns_heard() const {
    const double read = std::abs(reading_.beat.value()) * model_.means_over_s();
    if (!moved_ || restless()) return read;
    const double heard = fit_.turns(modes_.front(), 0.5 * model_.span_s - both_heard_s(),
                                    {request_.reference_partial, request_.pipe_partial});
    return heard > kShares || hears_before(to_) || on_same_side() ? heard : read;
}

/// One of them hardly keeps its partials' levels: it is what two that sound as one leave over.
bool PairFollower::restless() const {
    const PairState& state = modes_.front();
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        double power = 0.0, unrest = 0.0;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            const PairState::Band& band = state.bands[b];
            if ((i == 0 ? bands_[b].line.reference_partial : bands_[b].line.pipe_partial) == 0)
                continue;
            power += band.level[i];
            unrest += band.level[i] * band.unrest[i] * band.unrest[i];
        }
        if (unrest > kRestless * kRestless * power) return true;
    }
    return false;
}

/// How strong both tones are where they meet, in the lowest lines too.
PairPlace PairFollower::powers() const {
    PairPlace place;
    const PairState& state = modes_.front();
    const double highest = kLowestMeetings * request_.reference_partial * model_.nominal_hz[0];
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        const PairLine& line = bands_[b].line;
        if (line.reference_partial == 0 || line.pipe_partial == 0) continue;
        for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
            place.power[i] += state.bands[b].level[i];
            if (line.centre_hz < highest) place.low_power[i] += state.bands[b].level[i];
        }
    }
    if (place.low_power[0] + place.low_power[1] <= 0.0) place.low_power = place.power;
    return place;
}

/// Partials that only the pipe has are heard well.
bool PairFollower::pipe_has_own() const {
    constexpr double kWell = 1e-3;
    double own = 0.0, strongest = 0.0;
    const PairState& state = modes_.front();
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        const PairLine& line = bands_[b].line;
        if (line.pipe_partial == 0) continue;
        strongest = std::max(strongest, state.bands[b].level[1]);
        if (line.reference_partial == 0) own = std::max(own, state.bands[b].level[1]);
    }
    return own > kWell * strongest;
}

/// Of the meetings where both are heard well.
int PairFollower::highest_meeting() const {
    constexpr double kWell = 0.01;
    double strongest = 0.0;
    int highest = 1;
    const PairState& state = modes_.front();
    const auto weaker = [&](std::size_t b) {
        const PairLine& line = bands_[b].line;
        const bool meets = line.reference_partial > 0 && line.pipe_partial > 0;
        return meets ? std::min(state.bands[b].level[0], state.bands[b].level[1]) : 0.0;
    };
    for (std::size_t b = 0; b < bands_.size(); ++b)
        strongest = std::max(strongest, weaker(b));
    for (std::size_t b = 0; b < bands_.size(); ++b)
        if (weaker(b) > kWell * strongest)
            highest = std::max(highest, bands_[b].line.pipe_partial / request_.pipe_partial);
    return highest;
}

PairFollower::Part PairFollower::part(double from, double to) {
    const PairAnswer answer = fit_.part(modes_.front(), from, to);
    const PairPlace place = place_of(modes_.front(), answer, model_, bands_, request_);
    const double m = request_.reference_partial, n = request_.pipe_partial;
    return {n * place.pipe_hz - m * place.reference_hz,
            std::sqrt(place.beat_variance * (1.0 + (kLiveRustle - 1.0) * place.rustle))};
}

PitchReading PairFollower::alone(FrameIndex from, FrameIndex to) const {
    PitchReading reading;
    reading.pitch = reference_;
    reading.sd = reference_sd_;
    reading.from = from;
    reading.to = to;
    double power = 0.0, floor = 0.0;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        const int number = bands_[b].line.reference_partial;
        if (number == 0 || number > static_cast<int>(kMostPartials)) continue;
        power += 2.0 * one_.bands[b].level[0];
        floor += bands_[b].floor * rate_.value() / bands_[b].rate;
        reading.partials.list[reading.partials.count++] = {number,
                                                           level_of(one_.bands[b].level[0])};
    }
    std::sort(reading.partials.list.begin(),
              reading.partials.list.begin() + static_cast<std::ptrdiff_t>(reading.partials.count),
              [](const PartialLevel& a, const PartialLevel& b) { return a.number < b.number; });
    floor /= std::max<double>(1.0, static_cast<double>(bands_.size()));
    reading.snr = Decibels{10.0 * std::log10(power / std::max(floor, 1e-20))};
    return reading;
}

std::optional<Decibels> PairFollower::off_level(const Partials& alone) const {
    constexpr int kFewest = 3;
    double squares = 0.0;
    int known = 0;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        const PairLine& line = bands_[b].line;
        if (line.reference_partial == 0 || line.pipe_partial == 0) continue;
        for (std::size_t i = 0; i < alone.count; ++i) {
            if (alone.list[i].number != line.reference_partial) continue;
            const Decibels now = level_of(modes_.front().bands[b].level[0]);
            const double off = (now - alone.list[i].level).value();
            squares += off * off;
            ++known;
        }
    }
    if (known < kFewest) return std::nullopt;
    return Decibels{std::sqrt(squares / known)};
}

std::optional<double> PairFollower::meeting_power(FrameIndex from, FrameIndex to) const {
    for (std::size_t b = 0; b < stream_.size(); ++b)
        if (stream_.line(b).reference_partial == request_.reference_partial &&
            stream_.line(b).pipe_partial == request_.pipe_partial)
            return stream_.power(b, from, to);
    return std::nullopt;
}

PairFollower::Foretold PairFollower::foretold() const {
    Foretold now;
    const PairFit& fit = two_ ? fit_ : alone_fit_;
    const PairState& state = two_ ? modes_.front() : one_;
    const double middle = 0.5 * static_cast<double>(from_.value + to_.value);
    // Radians for each hertz of a partial's own frequency and each second astray.
    const double stray = 2.0 * std::numbers::pi * wander_along_compass(Hertz{model_.nominal_hz[1]});
    for (std::size_t b = 0; b < bands_.size() && b < stream_.size(); ++b) {
        std::complex<double> z;
        FrameIndex at;
        if (!stream_.newest(b, z, at)) continue;
        const double at_s = (static_cast<double>(at.value) - middle) / rate_.value();
        const std::complex<double> first = fit.tone(b, 0, state, at_s);
        const std::complex<double> second = fit.tone(b, 1, state, at_s);
        now.heard += std::norm(z);
        now.foretold += std::norm(first + second);
        now.left += std::norm(z - first - second);
        now.noise += state.bands[b].noise;
        const double since_s = std::max(0.0, at_s - 0.5 * model_.span_s);
        const double per_s = stray * bands_[b].line.centre_hz;
        const double radians2 =
            per_s * per_s * (kStraysAtEnd_s * kStraysAtEnd_s + kStraysOn * since_s);
        now.strayed += (std::norm(first) + std::norm(second)) * std::min(1.0, radians2);
        now.power[0] += std::norm(first);
        now.power[1] += std::norm(second);
        for (const std::size_t i : {std::size_t{0}, std::size_t{1}})
            if ((i == 0 ? bands_[b].line.reference_partial : bands_[b].line.pipe_partial) > 0)
                now.usual[i] += state.bands[b].level[i];
        now.without[0] += std::norm(z - second);
        now.without[1] += std::norm(z - first);
    }
    return now;
}

}  // namespace rankwright::listening

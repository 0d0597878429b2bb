// The phases of a followed tone: how good each partial's is, and the common one.
#include "listening/arithmetic.h"
#include "listening/tone_follower.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kLeastSnr = 6.0;     // of a partial within one hop, to have a phase
constexpr double kLeastNoise = 1e-8;  // of a partial's power: what leaks and rounding leave
// Of the tone's power, in every partial: what its leaks leave when taken out, what coarse samples
// add to it. A partial that isn't there must not pass for a clean one.
constexpr double kLeastOfTone = 1e-9;
constexpr double kPooled = 6.0;  // differences' worth of trust in the neighbours' noise
constexpr std::int64_t kFewestHops = 4;
constexpr double kSurprising = 30.0;  // squared, in units of what the freest filter allows
constexpr int kSurprisesAreTrue = 3;
constexpr Cents kJumpAfterKnock{8.0};  // a tap on the sleeve
constexpr Cents kJumpSeen{25.0};
constexpr double kRise_db = 2.0;         // above and
constexpr double kStillRising_db = 1.5;  // under the present level: not yet steady then
constexpr Cents kCoherentSpan{6.0};
constexpr double kSameLeaks = 5e-4;  // cycles a hop, of the highest partial
constexpr double kStale = 1.6;
constexpr double kWidest = 0.35;  // cycles a hop, off the bank's, of a partial still heard well
// What the room and the wind make each partial's phase stray by itself, radians², before it is
// seen how they do; soft ones stray more. Set on simulated pipes.
constexpr double kUsualStray = 0.002;
constexpr double kUsualTrust = 2.0;  // partials' worth of trust in that
constexpr double kStraysAlike =
    0.1;  // a partial this much softer than the loudest strays twice as much
// Beside the loudest partial, as a ratio of powers: what the wind drives in the body is as loud.
constexpr double kTooSoft = 4000.0;
constexpr double kTooSoftYoung = 100.0;  // while the pipe speaks, and the body rings with it
constexpr double kDiscord = 1.0;         // radians²; less is a stray
constexpr double kStaysAstray = 0.06;    // of the strays' variance, once a tone stands
constexpr Seconds kYoung{0.08};
constexpr double kYoungPeriods = 14.0;
constexpr double kDisagrees = 9.0;  // squared, in standard uncertainties

}  // namespace

// Weighs the partials by all hops since speech ended and follows them again from there.
void ToneFollower::settle_on() {
    steady_ = find_steady();
    weighed_at_ = hop_count_ - 1;
    // The pitch is known better than when these hops were heard.
    if (hop_count_ - steady_ >= kFewestHops) turn_ = common_turn(steady_);
    const double nearly = kSameLeaks / (hop_.count() * partials_);
    for (std::int64_t h = steady_; h < hop_count_; ++h)
        if (std::abs(at(h).leaks_at - turn_ / hop_.count()) > nearly)
            remove_leaks(h, turn_ / hop_.count());
    if (!weigh(steady_)) {
        coherent_ = false;
        return;
    }
    replay(steady_);
    coherent_ = spread() < kCoherentSpan;
}

// The earliest hop since which the level has stayed near the present one.
std::int64_t ToneFollower::find_steady() const {
    double power = 0.0;
    const std::int64_t newest = std::min<std::int64_t>(3, hop_count_);
    for (std::int64_t h = hop_count_ - newest; h < hop_count_; ++h)
        power += at(h).power;
    const double level =
        10.0 * std::log10(std::max(2.0 * power / static_cast<double>(newest), 1e-12));
    std::int64_t from = hop_count_;
    while (from > oldest() && from > tuned_at_) {
        const double rise = at(from - 1).level_db - level;
        if (at(from - 1).heard && (rise > kRise_db || rise < -kStillRising_db)) break;
        --from;
    }
    return std::min(from, std::max<std::int64_t>(tuned_at_, hop_count_ - 3));
}

// Cycles that the fundamental gains on the tuned pitch in one hop: the partials in ascending order,
// each unwrapped by those below.
double ToneFollower::common_turn(std::int64_t from) const {
    // While the pitch is known to a third of a semitone only, the loud partials' leaks pass for
    // clean partials of the bank's own pitch, and their numbers squared would outvote the loud
    // ones.
    constexpr double kLeaks = 1e-5;
    double tone = 0.0;
    for (int row = 0; row < rows(); ++row)
        for (std::int64_t h = from; h < hop_count_; ++h)
            tone += static_cast<double>(std::norm(z(row, h))) / channels_;
    double turn = 0.0;
    double trust = 1e-9;
    for (int k = 1; k <= partials_; ++k)
        for (int c = 0; c < channels_; ++c) {
            const int row = c * partials_ + k - 1;
            std::complex<double> product{};
            double power = 0.0;
            for (std::int64_t h = from + 1; h < hop_count_; ++h) {
                if (!at(h).heard || !at(h - 1).heard || !at(h).joined) continue;
                product += std::complex<double>(z(row, h) * std::conj(z(row, h - 1)));
                power += 0.5 * static_cast<double>(std::norm(z(row, h)) + std::norm(z(row, h - 1)));
            }
            if (power <= 0.0) continue;
            const double alike = std::min(std::norm(product) / square(power), 1.0 - 1e-9);
            if (alike < 0.5) continue;
            double cycles = std::arg(product) / kTurn;
            cycles += std::round(k * turn - cycles);
            const double weight = alike / (1.0 - alike + kLeaks * tone / power) * k * k;
            turn += weight / (trust + weight) * (cycles / k - turn);
            trust += weight;
        }
    return turn;
}

// Each partial's noise from the second differences of its phasor, turned back by the common pitch:
// they see the noise beside the partial and hardly its own slow wander.
bool ToneFollower::measure_partials(std::int64_t from) {
    if (hop_count_ - from < kFewestHops) return false;
    turn_ = common_turn(from);
    double harmonic = 0.0;
    double residual = 0.0;
    for (std::int64_t h = from; h < hop_count_; ++h) {
        if (!at(h).heard) continue;
        harmonic += at(h).power;
        residual += at(h).residual;
    }
    if (harmonic <= 0.0) return false;
    snr_ = harmonic / std::max(residual, 1e-12 * harmonic);
    tone_power_ = 0.0;
    for (int row = 0; row < rows(); ++row) {
        const std::complex<double> back = std::polar(1.0, -kTurn * number(row) * turn_);
        double sum = 0.0;
        double power = 0.0;
        double alike = 0.0;
        std::int64_t heard = 0;
        differences_ = 0;
        for (std::int64_t h = from; h < hop_count_; ++h) {
            if (!at(h).heard) continue;
            const std::complex<double> now(z(row, h));
            power += std::norm(now);
            ++heard;
            if (h < from + 2 || !at(h - 1).heard || !at(h - 2).heard || !at(h).joined ||
                !at(h - 1).joined)
                continue;
            const std::complex<double> before(z(row, h - 1));
            const std::complex<double> first(z(row, h - 2));
            sum += std::norm(now * back * back - 2.0 * before * back + first);
            alike += (now * back * std::conj(before)).real();
            ++differences_;
        }
        if (differences_ == 0) return false;
        noise_[static_cast<std::size_t>(row)] = sum / (6.0 * static_cast<double>(differences_));
        standing_[static_cast<std::size_t>(row)] = alike / static_cast<double>(differences_);
        power_[static_cast<std::size_t>(row)] = power / static_cast<double>(heard);
        tone_power_ += power_[static_cast<std::size_t>(row)] / channels_;
    }
    return true;
}

// A partial's information on the fundamental's phase in one hop, 1/cycles²; 0 where it is too weak
// to have a phase. Neighbours' noise is pooled, the more the fewer hops there are.
double ToneFollower::information(int row) const {
    const auto i = static_cast<std::size_t>(row);
    const int k = number(row);
    double beside = 0.0;
    double count = 0.0;
    for (int other = std::max(1, k - 2); other <= std::min(partials_, k + 2); ++other, ++count)
        beside += noise_[static_cast<std::size_t>(row + other - k)];
    const auto trust = static_cast<double>(differences_);
    const double noise =
        std::max({(trust * noise_[i] + kPooled * beside / count) / (trust + kPooled),
                  kLeastNoise * power_[i], kLeastOfTone * tone_power_});
    const double signal = std::min(power_[i] - noise, standing_[i]);
    return signal < kLeastSnr * noise ? 0.0 : 2.0 * square(kTurn * k) * signal / noise;
}

// So few hops are compared that what speech stirs up still shows in them.
bool ToneFollower::is_young() const {
    return lag_ * hop_ < kYoung + Seconds{kYoungPeriods / tuned_.value()};
}

// Each partial's own turn since `from`, over two thirds of the time, and its noise's variance.
void ToneFollower::measure_turns(std::int64_t from) {
    lag_ = (2 * (hop_count_ - from) + 2) / 3;
    const double cycles = kTurn * turn_ * static_cast<double>(lag_);
    const double loudest = *std::max_element(power_.begin(), power_.begin() + rows());
    const double too_soft = is_young() ? kTooSoftYoung : kTooSoft;
    turns_.clear();
    for (int row = 0; row < rows(); ++row) {
        const int k = number(row);
        const double info = information(row);
        if (info <= 0.0 || k * std::abs(turn_) > kWidest) continue;
        std::complex<double> product{};
        double pairs = 0.0;
        for (std::int64_t h = from + lag_; h < hop_count_; ++h) {
            if (!at(h).heard || !at(h - lag_).heard) continue;
            product += std::complex<double>(z(row, h) * std::conj(z(row, h - lag_)));
            pairs += 1.0;
        }
        if (pairs <= 0.0) continue;
        const double turn = std::arg(product * std::polar(1.0, -k * cycles)) / (kTurn * k);
        const double softer = loudest / power_[static_cast<std::size_t>(row)];
        if (softer > too_soft) continue;
        const double strays = 1.0 + kStraysAlike * softer;
        turns_.push_back({row, turn, 2.0 / (info * pairs), strays / square(kTurn * k), 0.0});
    }
    std::sort(turns_.begin(), turns_.end(), [&](const Turn& a, const Turn& b) {
        return power_[static_cast<std::size_t>(a.row)] > power_[static_cast<std::size_t>(b.row)];
    });
}

// How far (radians²) each partial's phase must stray by itself to explain how the first `count`
// turns scatter: Paule & Mandel, J. Res. NBS 87, 1982, p. 377.
double ToneFollower::straying(std::size_t count) const {
    const auto scatter = [&](double stray) {
        double weights = 0.0;
        double mean = 0.0;
        double squares = 0.0;
        for (std::size_t i = 0; i < count; ++i) {
            const double weight = 1.0 / (turns_[i].variance + stray * turns_[i].of_stray);
            const double miss = turns_[i].turn - mean;
            weights += weight;
            mean += weight / weights * miss;
            squares += weight * miss * (turns_[i].turn - mean);
        }
        return squares;
    };
    const auto expected = static_cast<double>(count) - 1.0;
    double low = 1e-7;
    double high = 10.0;
    if (count < 2 || scatter(low) <= expected)
        high = 0.0;
    else
        for (int halving = 0; halving < 12; ++halving) {
            const double middle = std::sqrt(low * high);
            (scatter(middle) > expected ? low : high) = middle;
        }
    return (expected * high + kUsualTrust * kUsualStray) / (expected + kUsualTrust);
}

// Compares the partials' turns, the loudest first. One that disagrees with those louder than it
// has no say: the body's resonance that the wind excites beside a partial turns as steadily as a
// clean one. What the others stray (the room's reflections still arrive) goes into their weights
// and the uncertainty. The common turn becomes the one of those that have a say.
bool ToneFollower::compare_partials(std::int64_t from) {
    constexpr std::size_t kSettlesStray = 8;
    measure_turns(from);
    const bool young = is_young();
    double stray = kUsualStray;
    double weights = 0.0;
    double mean = 0.0;
    std::size_t kept = 0;
    for (std::size_t i = 0; i < turns_.size(); ++i) {
        const Turn now = turns_[i];
        const double cycle = square(kTurn * number(now.row));
        const double variance = now.variance + stray * now.of_stray;
        const double miss = now.turn - mean;
        if (kept > 0 && square(miss) > kDisagrees * (variance + 1.0 / weights) &&
            square(miss) * cycle > kDiscord)
            continue;
        turns_[kept++] = now;
        weights += 1.0 / variance;
        mean += miss / variance / weights;
        if (kept > kSettlesStray) continue;
        stray = straying(kept);
        weights = mean = 0.0;
        for (std::size_t j = 0; j < kept; ++j) {
            const double weight = 1.0 / (turns_[j].variance + stray * turns_[j].of_stray);
            weights += weight;
            mean += weight / weights * (turns_[j].turn - mean);
        }
    }
    turns_.resize(kept);
    if (kept == 0) return false;
    stray = straying(kept);
    weights = 0.0;
    // Over longer spans the noise of a hop decides.
    for (Turn& turn : turns_) {
        turn.weight = 1.0 / (turn.variance + (young ? stray * turn.of_stray : 0.0));
        weights += turn.weight;
    }
    stray_ = 0.0;
    for (Turn& turn : turns_) {
        turn.weight /= weights;
        turn_ += turn.weight * turn.turn / static_cast<double>(lag_);
        stray_ += square(turn.weight) * stray * turn.of_stray;
    }
    if (!young) stray_ *= kStaysAstray;
    return true;
}

// Gives each partial its weight in the common phase.
bool ToneFollower::weigh(std::int64_t from) {
    if (!measure_partials(from) || !compare_partials(from)) return false;
    std::fill(weight_.begin(), weight_.end(), 0.0);
    for (const Turn& turn : turns_)
        weight_[static_cast<std::size_t>(turn.row)] = turn.weight;
    phase_variance_ = common_variance();
    const double frames = hop_.count() * rate_.value();
    for (int row = 0; row < rows(); ++row) {
        const auto i = static_cast<std::size_t>(row);
        stands_[i] = information(row) > 0.0;
        amplitude_[i] = 2.0 * std::sqrt(std::max(0.0, power_[i] - noise_[i])) / frames;
    }
    return true;
}

// Of the common phase in one hop, cycles², with the present weights; a partial without a phase is a
// cycle off.
double ToneFollower::common_variance() const {
    double sum = 0.0;
    for (int row = 0; row < rows(); ++row) {
        const double w = weight_[static_cast<std::size_t>(row)];
        if (w <= 0.0) continue;
        const double info = information(row);
        sum += info > 0.0 ? w * w / info : w * w;
    }
    return sum;
}

// Whether the weights have grown stale: another set would serve much better by now, or the phases
// are much noisier (or cleaner) than was thought.
bool ToneFollower::weights_are_stale(std::int64_t from) {
    if (!measure_partials(from) || !compare_partials(from)) return false;
    double best = 0.0;
    for (const Turn& turn : turns_)
        best += square(turn.weight) / information(turn.row);
    const double present = common_variance();
    return present > kStale * best || phase_variance_ > kStale * kStale * present;
}

void ToneFollower::replay(std::int64_t from) {
    tracker_.begin(tuned_, Cents{40.0});
    cycles_ = 0.0;
    outliers_ = 0;
    replay_from_ = from;
    for (std::int64_t h = from; h < hop_count_; ++h)
        step(h, turn_ / hop_.count(), false);
}

// Takes one hop's phases; `offset` (Hz) is where the pitch is expected, for unwrapping.
void ToneFollower::step(std::int64_t h, double offset, bool live) {
    Hop& hop = at(h);
    tracker_.advance(hop_);
    hop.hz = tracker_.pitch().value();
    if (!hop.heard) return;
    const bool follows = h > replay_from_ && h > tuned_at_ && at(h - 1).heard && hop.joined;
    if (!follows) {
        if (h > replay_from_) tracker_.lose_phase(kJumpAfterKnock);
        cycles_ = tracker_.expected_cycles();
        tracker_.observe(cycles_, phase_variance_);
        return;
    }
    const double expected = offset * hop_.count();
    double turn = 0.0;
    for (int row = 0; row < rows(); ++row) {
        const double w = weight_[static_cast<std::size_t>(row)];
        if (w <= 0.0) continue;
        const int k = number(row);
        const auto product = z(row, h) * std::conj(z(row, h - 1));
        double cycles = static_cast<double>(std::arg(product)) / kTurn;
        cycles += std::round(k * expected - cycles);
        turn += w * cycles / k;
    }
    cycles_ += turn;
    if (live && tracker_.surprise_of(cycles_, phase_variance_) > kSurprising) {
        if (++outliers_ < kSurprisesAreTrue) {
            hop.heard = false;
            return;
        }
        tracker_.lose_phase(kJumpSeen);
    }
    outliers_ = 0;
    tracker_.observe(cycles_, phase_variance_);
    hop.hz = tracker_.pitch().value();
}

}  // namespace rankwright::listening

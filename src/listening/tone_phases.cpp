// The phases of a followed tone: how good each partial's is, and the common one.
#include "listening/tone_follower.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

constexpr double kTwoPi = 2.0 * std::numbers::pi;
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
constexpr Cents kCoherent{6.0};
constexpr double kStale = 1.6;

double square(double x) { return x * x; }

}  // namespace

// Weighs the partials by all hops since speech ended and follows them again from there.
void ToneFollower::settle_on() {
    steady_ = find_steady();
    weighed_at_ = hop_count_ - 1;
    // The pitch is known better than when these hops were heard.
    if (hop_count_ - steady_ >= kFewestHops) turn_ = common_turn(steady_);
    for (std::int64_t h = steady_; h < hop_count_; ++h)
        remove_leaks(h, turn_ / hop_.count());
    if (!weigh(steady_)) {
        coherent_ = false;
        return;
    }
    replay(steady_);
    coherent_ = spread() < kCoherent;
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
            double cycles = std::arg(product) / kTwoPi;
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
        const std::complex<double> back = std::polar(1.0, -kTwoPi * number(row) * turn_);
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
    return signal < kLeastSnr * noise ? 0.0 : 2.0 * square(kTwoPi * k) * signal / noise;
}

// Gives each partial the weight that its information has in the common phase.
bool ToneFollower::weigh(std::int64_t from) {
    if (!measure_partials(from)) return false;
    double sum = 0.0;
    for (int row = 0; row < rows(); ++row)
        sum += information(row);
    if (sum <= 0.0) return false;
    phase_variance_ = 1.0 / sum;
    const double frames = hop_.count() * rate_.value();
    for (int row = 0; row < rows(); ++row) {
        const auto i = static_cast<std::size_t>(row);
        weight_[i] = information(row) / sum;
        amplitude_[i] = 2.0 * std::sqrt(std::max(0.0, power_[i] - noise_[i])) / frames;
    }
    return true;
}

// Whether the weights have grown stale: another set would serve much better by now, or the phases
// are much noisier (or cleaner) than was thought.
bool ToneFollower::weights_are_stale(std::int64_t from) {
    if (!measure_partials(from)) return false;
    double best = 0.0;
    double present = 0.0;
    for (int row = 0; row < rows(); ++row) {
        const double w = weight_[static_cast<std::size_t>(row)];
        const double info = information(row);
        best += info;
        if (w > 0.0) present += info > 0.0 ? w * w / info : w * w;  // without a phase: a cycle off
    }
    if (best <= 0.0) return false;
    return present > kStale / best || phase_variance_ > kStale * kStale * present;
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
        double cycles = static_cast<double>(std::arg(product)) / kTwoPi;
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

// What happens to a followed tone: it speaks, stands, is moved, is shaken by a tremulant, fades or
// ends.
#include "listening/arithmetic.h"
#include "listening/tone_follower.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

constexpr Seconds kLevelMemory{0.75};
constexpr double kEndingDrop_db = 3.0;
constexpr double kEndingSlope_db = -8.0;  // a second; slower falls are the machine's doing
constexpr double kEndedDrop_db = 6.5;     // below what falls of 8 dB a second leave of it
constexpr std::int64_t kStands = 20;      // hops; after that a jump upward is the note again

constexpr double kGoneDrop_db = 22.0;
constexpr Seconds kStaysLow{0.14};
constexpr Seconds kLasts{0.08};
constexpr Seconds kEndsWithin{0.3};
constexpr double kRepeatDip_db = 6.0;
constexpr double kRepeatRise_db = 3.0;
constexpr double kFadedDrop_db = 3.0;
constexpr double kFadingSlope_db = -0.4;  // a second
constexpr Seconds kFadesFor{0.7};
constexpr Seconds kLookBack{0.25};
constexpr Seconds kMovingHeld{0.3};
constexpr Cents kMoved{1.0};
constexpr Hertz kBassBelow{65.0};
constexpr Seconds kFlutterHeard{0.06};
constexpr double kFlutterPeriods = 8.0;
constexpr Seconds kSpeaksWithin{0.3};
constexpr Seconds kFlutterSeen{0.8};

}  // namespace

double ToneFollower::level_db() const {
    if (hop_count_ == 0) return -120.0;
    const double now = at(hop_count_ - 1).level_db;
    return hop_count_ == 1 ? now : 0.5 * (now + at(hop_count_ - 2).level_db);
}

double ToneFollower::slope_db(double Hop::*level, Seconds over) const {
    const auto back = std::max<std::int64_t>(2, std::lround(over / hop_));
    const std::int64_t now = hop_count_ - 1;
    if (now - back - 1 < oldest()) return 0.0;
    const double after = 0.5 * (at(now).*level + at(now - 1).*level);
    const double before = 0.5 * (at(now - back).*level + at(now - back - 1).*level);
    return (after - before) / (static_cast<double>(back) * hop_.count());
}

double ToneFollower::level_slope_db(Seconds over) const { return slope_db(&Hop::level_db, over); }
double ToneFollower::kept_slope_db(Seconds over) const { return slope_db(&Hop::kept_db, over); }

double ToneFollower::share() const {
    double own = 0.0;
    double all = 0.0;
    const double frames = hop_.count() * rate_.value();
    for (std::int64_t h = std::max(oldest(), hop_count_ - 5); h < hop_count_; ++h) {
        all += (at(h).power + at(h).residual) * channels_;
        for (int row = 0; row < rows(); ++row) {
            const auto i = static_cast<std::size_t>(row);
            if (!stands_[i]) continue;
            const double noise = std::min(noise_[i], power_[i]) / power_[i];
            own +=
                2.0 * (1.0 - noise) * static_cast<double>(std::norm(z(row, h))) / (frames * frames);
        }
    }
    return all > 0.0 ? std::min(1.0, own / all) : 0.0;
}

template <typename Counts>
double ToneFollower::share_of(Seconds before, Counts&& counts) const {
    const std::int64_t to = hop_count_ - std::lround(before / hop_);
    double all = 0.0;
    double some = 0.0;
    for (std::int64_t h = std::max(oldest(), to - 4); h < to; ++h)
        for (int row = 0; row < rows(); ++row) {
            const auto power = static_cast<double>(std::norm(z(row, h)));
            all += power;
            if (counts(row)) some += power;
        }
    return all > 0.0 ? some / all : 0.0;
}

double ToneFollower::share_beside(int m, Seconds before) const {
    return share_of(before, [&](int row) {
        return number(row) % m != 0 && stands_[static_cast<std::size_t>(row)];
    });
}

double ToneFollower::fundamental_share(Seconds before) const {
    return share_of(before, [&](int row) { return number(row) == 1; });
}

int ToneFollower::standing_beside(int m) const {
    int standing = 0;
    for (int row = 0; row < rows(); ++row)
        if (number(row) % m != 0 && stands_[static_cast<std::size_t>(row)]) ++standing;
    return standing;
}

Cents ToneFollower::recent_glide() const {
    const auto back = std::max<std::int64_t>(2, std::lround(0.05 / hop_.count()));
    if (hop_count_ - back <= oldest()) return Cents{0.0};
    const std::int64_t before = std::max(steady_, hop_count_ - 1 - back);
    return interval(Hertz{at(before).hz}, pitch());
}

// The tone's power in one hop, no partial counted louder than it has been: a new note that shares
// some partials doesn't keep the old one alive.
double ToneFollower::kept_power(std::int64_t hop) const {
    constexpr double kLouder = 1.3;
    double power = 0.0;
    bool known = false;
    const double frames = hop_.count() * rate_.value();
    for (int row = 0; row < rows(); ++row) {
        const double usual = amplitude_[static_cast<std::size_t>(row)];
        if (usual <= 0.0) continue;
        known = true;
        const double now = 2.0 * static_cast<double>(std::abs(z(row, hop))) / frames;
        power += 0.5 * std::min(now * now, kLouder * usual * usual);
    }
    return known ? power / channels_ : at(hop).power;
}

bool ToneFollower::speaking() const { return !stood_ || !coherent_; }

void ToneFollower::watch_level() {
    if (hop_count_ <= kStillSpeaking) {
        steady_level_ = lowest_level_ = highest_level_ = level_db();
        highest_at_ = hop_count_;
        return;
    }
    if (disturbed()) return;
    const bool rose =
        hop_count_ > steady_ + kStands && level_db() > steady_level_ + kRepeatRise_db + 1.0;
    risen_ = rose ? risen_ + 1 : 0;
    if (risen_ * hop_ > kLasts) repeated_ = true;
    const double level = 0.5 * (at(hop_count_ - 1).kept_db + at(hop_count_ - 2).kept_db);
    watch_end(level);
    watch_fading(level);
}

void ToneFollower::watch_end(double level) {
    // Upward at once: a pipe that is still speaking isn't falling afterwards.
    // A young tone's level is learned quickly: many pipes speak louder than they stand.
    const Seconds memory = std::min(kLevelMemory, 0.25 * hop_count_ * hop_);
    if (!ending_)
        steady_level_ +=
            (level > steady_level_ ? 0.5 : std::min(1.0, hop_ / memory)) * (level - steady_level_);
    const double drop = steady_level_ - level;
    if (!ending_ && (drop > kEndedDrop_db ||
                     (drop > kEndingDrop_db && kept_slope_db(Seconds{0.1}) < kEndingSlope_db))) {
        ending_ = true;
        ending_since_ = hop_count_;
        lowest_level_ = level;
    }
    if (!ending_) return;
    lowest_level_ = std::min(lowest_level_, level);
    if (steady_level_ - lowest_level_ > kRepeatDip_db &&
        level > lowest_level_ + kRepeatDip_db - 1.0)
        repeated_ = true;
    if (drop < 0.5 * kEndingDrop_db) ending_ = false;
    // A dip of a treble in a standing wave passes; an end stays.
    low_ = drop > kEndedDrop_db ? low_ + 1 : 0;
    ended_ = drop > kGoneDrop_db || low_ * hop_ > kStaysLow ||
             (ending_ && (hop_count_ - ending_since_) * hop_ > kEndsWithin);
}

// Since it was loudest. A machine turns all partials down by as much; in a room each comes and goes
// by itself, and more so while the pipe is moved.
bool ToneFollower::partials_fell_alike() const {
    constexpr std::int64_t kMean = 10;  // hops
    constexpr int kFewest = 3;
    constexpr double kLeastFall_db = 1.0, kAlike = 0.4;  // of the fall
    const std::int64_t now = hop_count_ - 1, back = std::min(now - highest_at_, kKeptHops - kMean);
    if (back < kMean || now - back - kMean < oldest()) return false;
    double sum = 0.0, squares = 0.0;
    int count = 0;
    for (int row = 0; row < rows(); ++row) {
        if (!stands_[static_cast<std::size_t>(row)]) continue;
        double after = 1e-30, before = 1e-30;
        for (std::int64_t i = 0; i < kMean; ++i) {
            after += static_cast<double>(std::norm(z(row, now - i)));
            before += static_cast<double>(std::norm(z(row, now - back - i)));
        }
        const double fall = 10.0 * std::log10(before / after);
        sum += fall;
        squares += fall * fall;
        ++count;
    }
    if (count < kFewest) return false;
    const double mean = sum / count;
    return mean > kLeastFall_db && squares / count - mean * mean < kAlike * kAlike * mean * mean;
}

// A fall that is slow and goes on; a pipe's own wind doesn't do that.
void ToneFollower::watch_fading(double level) {
    if (level > highest_level_) {
        highest_level_ = level;
        highest_at_ = hop_count_;
    }
    const double lost = highest_level_ - level;
    const Seconds since = (hop_count_ - highest_at_) * hop_;
    const double slope = kept_slope_db(Seconds{0.5});
    if (lost > kFadedDrop_db && since > kFadesFor && !ending_ && slope < kFadingSlope_db &&
        slope > kEndingSlope_db && partials_fell_alike())
        ++falling_;
    else
        falling_ = 0;
    if (falling_ * hop_ > kEndsWithin)
        fading_ = true;
    else if (lost < 0.5 * kFadedDrop_db)
        fading_ = false;
}

void ToneFollower::watch_pitch() {
    if (moving_left_ > 0) --moving_left_;
    constexpr double kSpeaks_db = 25.0;  // a second
    stood_ = stood_ || (refined_ && coherent_ && steady_hops() >= 4 &&
                        level_slope_db(Seconds{0.05}) < kSpeaks_db);
    const auto back = std::max<std::int64_t>(2, std::lround(kLookBack / hop_));
    const std::int64_t now = hop_count_ - 1;
    const std::int64_t settled =
        steady_ + std::max<std::int64_t>(3, std::lround(0.1 / hop_.count()));
    if (!coherent_ || now - back < std::max(settled, oldest())) return;
    const double change = std::abs(interval(Hertz{at(now - back).hz}, Hertz{at(now).hz}).value());
    const double allowed = pitch() < kBassBelow ? 2.0 * kMoved.value() : kMoved.value();
    if (change > allowed + 3.0 * spread().value()) {
        moving_left_ = std::lround(kMovingHeld / hop_);
        moved_at_ = now;
    }

    const auto longest = std::lround((moving() ? 0.5 : 2.0) / hop_.count());
    const std::int64_t from =
        std::max({settled, oldest(), hop_count_ - longest, moving() ? 0 : moved_at_});
    const std::int64_t count = hop_count_ - from;
    drift_known_ = static_cast<double>(count) * hop_.count() > 0.45;
    if (!drift_known_) return;
    const double middle = 0.5 * static_cast<double>(count - 1);
    double sum = 0.0;
    double squares = 0.0;
    for (std::int64_t h = from; h < hop_count_; ++h) {
        const double t = (static_cast<double>(h - from) - middle) * hop_.count();
        sum += t * at(h).hz;
        squares += t * t;
    }
    drift_ = sum / squares / pitch().value() * kCents;
}

// Level and pitch swing together at 3 to 9 a second: one frequency explains most of how both vary.
void ToneFollower::watch_tremulant() {
    constexpr double kSlowest_hz = 3.0;
    constexpr double kFastest_hz = 9.5;
    constexpr double kLevelSwing_db = 0.3;
    constexpr double kPitchSwing_cents = 1.0;
    constexpr double kExplained = 0.5;
    // Not from where the level is steady: under a tremulant it never is.
    const auto back = static_cast<std::int64_t>(std::lround(1.4 / hop_.count()));
    const auto spoken = static_cast<std::int64_t>(std::lround(0.12 / hop_.count()));
    const std::int64_t from = std::max({spoken, oldest(), hop_count_ - back});
    const std::int64_t count = hop_count_ - from;
    tremulant_ = false;
    if (static_cast<double>(count) * hop_.count() < 0.75) return;
    double level = 0.0;
    double hz = 0.0;
    for (std::int64_t h = from; h < hop_count_; ++h) {
        level += at(h).level_db / static_cast<double>(count);
        hz += at(h).hz / static_cast<double>(count);
    }
    const double cents = kCents / hz;
    double level_power = 0.0;
    double pitch_power = 0.0;
    for (std::int64_t h = from; h < hop_count_; ++h) {
        level_power += (at(h).level_db - level) * (at(h).level_db - level);
        pitch_power += (at(h).hz - hz) * (at(h).hz - hz) * cents * cents;
    }
    const double fastest = std::min(kFastest_hz, 0.4 / hop_.count());
    for (double swing = kSlowest_hz; swing <= fastest; swing += 0.35) {
        const auto turn = std::polar(1.0, 2.0 * std::numbers::pi * swing * hop_.count());
        std::complex<double> phase{1.0, 0.0};
        std::complex<double> of_level{};
        std::complex<double> of_pitch{};
        for (std::int64_t h = from; h < hop_count_; ++h, phase *= turn) {
            of_level += (at(h).level_db - level) * phase;
            of_pitch += (at(h).hz - hz) * cents * phase;
        }
        const auto n = static_cast<double>(count);
        if (2.0 * std::abs(of_level) / n > kLevelSwing_db &&
            2.0 * std::abs(of_pitch) / n > kPitchSwing_cents &&
            2.0 * std::norm(of_level) / n > kExplained * level_power &&
            2.0 * std::norm(of_pitch) / n > kExplained * pitch_power) {
            tremulant_ = true;
            return;
        }
    }
}

// Whether the tone is clearly louder in the last third of the hops since `from` than in the first.
bool ToneFollower::grows(std::int64_t from) const {
    constexpr double kLouder = 1.6;  // 2 dB
    const std::int64_t third = (hop_count_ - from) / 3;
    double before = 0.0;
    double after = 0.0;
    for (std::int64_t i = 0; i < third; ++i) {
        before += at(from + i).power;
        after += at(hop_count_ - 1 - i).power;
    }
    return after > kLouder * before;
}

// Wind that rushes through a silent pipe sounds in narrow bands at its partials and passes for a
// soft tone; but each band's power comes and goes as noise does, by as much as itself, where that
// of a pipe stands. Beating pipes' powers vary too, but hardly in so much noise.
void ToneFollower::watch_flutter() {
    constexpr double kVaries = 0.2;  // 1 in the mean for noise: its power is exponential
    if (!may_be_wind()) {
        only_wind_ = false;
        return;
    }
    const std::int64_t back = std::lround(kFlutterSeen / hop_);
    // Once a pipe must have spoken it needn't have been steady since: wind never is.
    const bool spoken = hop_count_ * hop_ > kFlutterSeen + kSpeaksWithin;
    const std::int64_t from =
        std::max({oldest(), hop_count_ - back, spoken ? std::int64_t{0} : steady_});
    const std::int64_t count = hop_count_ - from;
    const bool heard = count * hop_ >= kFlutterHeard + Seconds{kFlutterPeriods / pitch().value()};
    if (!heard || grows(from)) return;
    // A pipe that speaks slowly grows, which is no flutter: each power against its own straight
    // line.
    const double middle = 0.5 * static_cast<double>(count - 1);
    const double spread = static_cast<double>(count) * (square(middle) + middle) / 3.0;
    double all = 0.0;
    double varying = 0.0;
    for (int row = 0; row < rows(); ++row) {
        double sum = 0.0;
        double squares = 0.0;
        double growth = 0.0;
        for (std::int64_t h = from; h < hop_count_; ++h) {
            const auto power = static_cast<double>(std::norm(z(row, h)));
            sum += power;
            squares += power * power;
            growth += (static_cast<double>(h - from) - middle) * power;
        }
        const double mean = sum / static_cast<double>(count);
        if (mean <= 0.0) continue;
        const double around = squares - mean * sum - square(growth) / spread;
        // White noise in the band doesn't count: it varies a pipe's partials as well.
        const double by_noise = mean * std::min(2.0 * noise_[static_cast<std::size_t>(row)], mean);
        all += mean;
        varying += (around / static_cast<double>(count) - by_noise) / mean;
    }
    only_wind_ = varying > kVaries * all;
}

}  // namespace rankwright::listening

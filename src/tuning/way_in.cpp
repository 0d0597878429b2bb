#include "tuning/way_in.h"

#include "core/median.h"
#include "listening/measure.h"
#include "listening/partial_power.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <deque>
#include <iterator>
#include <vector>

namespace rankwright::tuning {

namespace {

constexpr Seconds kApart{0.1};
/// A pipe creeps in that stood so far from where it stands at last, and it has
/// arrived at half of that (common practice, no source).
constexpr double kCreeps_cents = 8.0;

/// The pitch of a short piece.
struct Piece {
    double at_s;   ///< its middle, from the first sample
    double cents;  ///< from where the tone was read
    double level_db;
};

class Way {
  public:
    Way(const HeardTone& tone, FrameIndex first, std::span<const float> samples, SampleRate rate,
        std::span<const Hertz> taken_out)
        : tone_(tone), first_(first), samples_(samples), rate_(rate), taken_out_(taken_out) {
        constexpr double kShortest_s = 0.2, kPeriods = 8.0;
        piece_s_ = std::max(kShortest_s, kPeriods / tone.pitch.value());
    }

    std::deque<Piece> follow() {
        const auto here = anchor();
        if (!here) return {};
        way_ = {*here};
        loudest_db_ = here->level_db;
        go(kApart.count(), 1e9);
        go(-kApart.count(), s(tone_.from) - kMissedOnset.count());
        drop_tail();
        return way_;
    }
    double piece_s() const { return piece_s_; }

  private:
    double s(FrameIndex at) const { return duration(at - first_, rate_).count(); }

    // Where it surely sounds: in the middle of what was read of it, or else where
    // it is first found.
    std::optional<Piece> anchor() const {
        constexpr double kOwn_cents = 40.0;
        // Of a short reading the middle may be too near to where the sound was cut.
        const double latest = static_cast<double>(samples_.size()) / rate_.value() - 0.5 * piece_s_;
        if (tone_.read) return measure(std::min(0.5 * (s(tone_.stood) + s(tone_.to)), latest), 0.0);
        for (double at = s(tone_.from) + 0.5 * piece_s_; at < s(tone_.left); at += kApart.count())
            if (auto piece = measure(at, 0.0); piece && std::abs(piece->cents) < kOwn_cents)
                return piece;
        return std::nullopt;
    }

    // What the room still sounds after it: that sinks.
    void drop_tail() {
        constexpr double kSofter_db = 5.0;
        std::vector<double> levels;
        for (const Piece& piece : way_)
            levels.push_back(piece.level_db);
        const double usual = median(std::move(levels));
        while (way_.back().level_db < usual - kSofter_db)
            way_.pop_back();
    }

    void go(double step_s, double to_s) {
        // Before its onset the key before sounds, and then nothing: no gap is
        // bridged there.
        const int most_gaps = step_s > 0.0 ? 2 : 1;
        constexpr double kMostStep_cents = 12.0;  // a tenth of a second on; more is another key
        constexpr double kMuchSofter_db = 14.0;   // at its end only the room sounds
        constexpr double kFirstBreath_db = 24.0;  // it is read from here on
        int gaps = 0;
        const bool on = step_s > 0.0;
        double softest_db = loudest_db_;
        Piece last = on ? way_.back() : way_.front();
        for (double at = last.at_s + step_s; on ? at <= to_s : at >= to_s; at += step_s) {
            const auto piece = measure(at, last.cents);
            const bool follows = piece && std::abs(piece->cents - last.cents) <
                                              kMostStep_cents * static_cast<double>(gaps + 1);
            if (!follows) {
                if (++gaps > most_gaps) return;
                continue;
            }
            if (piece->level_db < loudest_db_ - (on ? kMuchSofter_db : kFirstBreath_db)) return;
            // Before its onset it is softest: what is louder again is the key before.
            if (!on && piece->level_db > softest_db + kMuchSofter_db) return;
            softest_db = std::min(softest_db, piece->level_db);
            gaps = 0;
            last = *piece;
            loudest_db_ = std::max(loudest_db_, piece->level_db);
            on ? way_.push_back(last) : way_.push_front(last);
        }
    }

    std::optional<Piece> measure(double at_s, double near_cents) const {
        constexpr double kHonest_cents = 2.5;
        constexpr Decibels kOverNoise{-10.0};  // in the whole band
        const auto first = static_cast<std::int64_t>((at_s - 0.5 * piece_s_) * rate_.value());
        const auto count = static_cast<std::int64_t>(piece_s_ * rate_.value());
        if (first < 0 || first + count > static_cast<std::int64_t>(samples_.size())) return {};
        const auto reading = listening::measure_pipe(
            samples_.subspan(static_cast<std::size_t>(first), static_cast<std::size_t>(count)),
            rate_, transpose(tone_.pitch, Cents{near_cents}), taken_out_);
        if (!reading || reading->cents_sd().value() > kHonest_cents || reading->snr < kOverNoise)
            return {};
        return Piece{at_s, interval(tone_.pitch, reading->pitch).value(),
                     10.0 * std::log10(std::max(power(reading->partials), 1e-20))};
    }

    const HeardTone& tone_;
    FrameIndex first_;
    std::span<const float> samples_;
    SampleRate rate_;
    std::span<const Hertz> taken_out_;
    double piece_s_ = 0.2;
    double loudest_db_ = -200.0;
    std::deque<Piece> way_;
};

/// The wind in a silent pipe strays up and down.
template <typename Iterator>
bool goes_one_way(Iterator from, Iterator to) {
    constexpr double kMostly = 0.75;
    double all = 0.0;
    for (auto piece = from; piece != to && std::next(piece) != to; ++piece)
        all += std::abs(std::next(piece)->cents - piece->cents);
    return all > 0.0 && std::abs(std::prev(to)->cents - from->cents) > kMostly * all;
}

}  // namespace

std::optional<WayIn> way_in(const HeardTone& tone, FrameIndex first, std::span<const float> samples,
                            SampleRate rate, std::span<const Hertz> taken_out) {
    constexpr std::size_t kFewest = 6, kAtLast = 5;
    Way finder(tone, first, samples, rate, taken_out);
    const std::deque<Piece> way = finder.follow();
    if (way.size() < kFewest) return std::nullopt;
    std::vector<double> at_last;
    for (auto piece = way.rbegin(); at_last.size() < kAtLast; ++piece)
        at_last.push_back(piece->cents);
    const double stands = median(at_last);
    const auto far = [&](const Piece& piece, double by) {
        return std::abs(piece.cents - stands) > by;
    };
    // What is near for a moment only passes by.
    std::size_t near = 0;
    auto arrived = way.begin();
    for (; arrived != way.end() && near < kAtLast; ++arrived)
        near = far(*arrived, 0.5 * kCreeps_cents) ? 0 : near + 1;
    arrived -= static_cast<std::ptrdiff_t>(near);
    const auto frame = [&](double seconds) {
        return first + static_cast<std::int64_t>(std::max(0.0, seconds) * rate.value());
    };
    const double half_s = 0.5 * finder.piece_s();
    WayIn in{frame(way.front().at_s - half_s), frame(way.back().at_s + half_s), false, {}};
    in.arrived = frame((arrived == way.end() ? way.back() : *arrived).at_s);
    in.crept = goes_one_way(way.begin(), arrived) &&
               std::any_of(way.begin(), arrived,
                           [&](const Piece& piece) { return far(piece, kCreeps_cents); });
    return in;
}

}  // namespace rankwright::tuning

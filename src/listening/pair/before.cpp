// A reference and a pipe, heard from the time when the reference was still alone.
#include "listening/pair/follower.h"
#include "listening/pair/onset.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

/// The reference's path is only known since the pipe joined: it settles slowly before that.
constexpr int kBeforeSteps = 24;
/// Two so far apart, in turns, are two, and not the unrest of one, unless the weaker has less than
/// this share of the other's power, by the turn; in any case unless it has less than the other one.
/// That a second tone close by explains more of the stronger one's unrest than the pipe explains in
/// all says nothing against it.
constexpr double kApart = 2.0;
constexpr double kOwnLine = 0.04, kLeastLine = 0.003;
/// A reference's pitch (relative, 1.7 cents) before its own place is better known than found.
constexpr double kKnown = 1e-3;
/// A pipe that joins changes some of the levels where the two meet by more than this, for a moment
/// at least; a reference's own unrest, with the wind of a silent pipe, doesn't. Of simulated pairs
/// half a cent apart, and of silent pipes that passed for one in tune: 2 of 49 within it, and 8 of
/// 13.
constexpr double kNoJoining_db = 3.8;
constexpr double kClear = 10.0;  // of the noise, in power
constexpr Seconds kLevelBefore{0.6}, kMoment{0.4};
/// A path's cosines leave it the same pitch at both ends of the span. What is moved ends at
/// another, and turns back to it before what is heard, in this share of what that has over
/// kHardlyMoves.
constexpr double kFree = 0.2;
constexpr Seconds kHardlyMoves{0.6};
/// Two that hardly beat are looked for here too, in turns from the best.
constexpr std::array<double, 4> kBeatsTried{-0.6, -0.2, 0.2, 0.6};

/// Of a band's samples from `from_s` to `to_s`; 0 where there are none.
double mean_power(const PairBand& band, double from_s, double to_s) {
    double power = 0.0;
    std::size_t count = 0;
    for (std::size_t m = 0; m < band.z.size(); ++m) {
        const double at_s = band.first_s + static_cast<double>(m) / band.rate;
        if (at_s < from_s || at_s >= to_s) continue;
        power += std::norm(band.z[m]);
        ++count;
    }
    return count == 0 ? 0.0 : power / static_cast<double>(count);
}

}  // namespace

std::optional<FrameIndex> PairFollower::onset(FrameIndex from, FrameIndex to,
                                              std::span<const HiddenSpan> hidden) const {
    std::vector<PairBand> bands;
    stream_.window(from, to, hidden, bands);
    const std::optional<double> at_s = onset_in(bands, reference_.value());
    if (!at_s) return std::nullopt;
    return FrameIndex{(from.value + to.value) / 2 + std::llround(*at_s * rate_.value())};
}

bool PairFollower::hears_before(FrameIndex to) const {
    return two_ && before_ && duration(to - before_->from, rate_) <= kHearsBefore;
}

/// The bands that are fitted next, of a span or of all since before it, and what the fit takes for
/// granted there. What is asked for are the means from `read_from` on.
void PairFollower::hear_window(FrameIndex from, FrameIndex read_from, FrameIndex to,
                               std::span<const HiddenSpan> hidden) {
    const bool moves = two_ && (moved_ || !reading_.under);
    const auto free =
        !moves ? 0
               : std::llround(kFree *
                              std::max(0.0, (duration(to - from, rate_) - kHardlyMoves).count()) *
                              rate_.value());
    const FrameIndex first = hears_before(to) ? before_->from : from + -free;
    const auto from_middle = [&](FrameIndex at) {
        return 0.5 * (duration(at - first, rate_) - duration(to - at, rate_)).count();
    };
    if (!hears_before(to)) {
        set_model(first, to, kMostTogether);
        model_.means_from_s = from_middle(read_from);
        stream_.window(from, to, hidden, bands_);
        for (PairBand& band : bands_)
            band.first_s += 0.5 * duration(from - first, rate_).count();
        return;
    }
    set_model(first, to, kMostFromBefore);
    model_.pipe_from_s = from_middle(before_->both_from);
    model_.means_from_s = from_middle(std::max(read_from, before_->both_from));
    hidden_.assign(hidden.begin(), hidden.end());
    hidden_.push_back({before_->to, before_->both_from});
    stream_.window(first, to, hidden_, bands_);
}

/// Since the reference was alone another tone has joined it, by the levels where they meet.
/// Requires hears_before().
bool PairFollower::joining_shows(FrameIndex to) const {
    std::vector<PairBand> bands;
    stream_.window(before_->from, to, {}, bands);
    const auto from_middle = [&](FrameIndex at) {
        return 0.5 * (duration(at - before_->from, rate_) - duration(to - at, rate_)).count();
    };
    const double alone_s = from_middle(before_->to), both_s = from_middle(before_->both_from);
    const double end_s = from_middle(to);
    double most_db = 0.0;
    for (const PairBand& band : bands) {
        if (band.line.reference_partial == 0 || band.line.pipe_partial == 0) continue;
        const double alone = mean_power(band, alone_s - kLevelBefore.count(), alone_s);
        if (alone < kClear * band.floor) continue;
        for (double at_s = both_s; at_s + kMoment.count() <= end_s; at_s += 0.5 * kMoment.count())
            if (const double now = mean_power(band, at_s, at_s + kMoment.count()); now > 0.0)
                most_db = std::max(most_db, std::abs(10.0 * std::log10(now / alone)));
    }
    return most_db > kNoJoining_db;
}

bool PairFollower::stand_apart(const PairPlace& place) const {
    const double turns = std::abs(place.beat(request_)) * model_.means_over_s();
    const auto [less, more] = std::minmax(place.low_power[0], place.low_power[1]);
    return turns > kApart && less > std::max(kLeastLine, kOwnLine / turns) * more;
}

/// Goes back to before the pipe joined, from what was found since, and from the pipe's `places`
/// besides, the last of them the most likely since.
void PairFollower::hear_from_before(FrameIndex to, std::span<const PairPlace> places) {
    const PairModel old = model_;
    const FrameIndex old_from = from_, old_to = to_;
    hear_window(before_->both_from, before_->both_from, to, {});
    const Seconds later = duration(from_ - old_from, rate_) + duration(to_ - old_to, rate_);
    fit_.take(bands_, model_);
    for (PairState& mode : modes_)
        fit_.carry(mode, old, 0.5 * later.count());
    const bool apart = stand_apart(places.back());
    if (apart) places = places.last(1);
    // Where the reference was alone it has to stand: from a short span its path leads elsewhere.
    const bool known = request_.reference_sd.value() < kKnown * model_.nominal_hz[0];
    const double reference = known ? 0.0 : places.back().found_hz[0] - model_.nominal_hz[0];
    const double same = reference * request_.reference_partial / request_.pipe_partial;
    for (const double turns : kBeatsTried)
        if (!apart)
            modes_.push_back(fit_.start(
                reference, same + turns / (model_.means_over_s() * request_.pipe_partial)));
    for (const PairPlace& place : places)
        modes_.push_back(fit_.start(reference, place.found_hz[1] - model_.nominal_hz[1]));
    for (int steps = 0; steps < kBeforeSteps; steps += kFirstSteps) {
        for (PairState& mode : modes_)
            fit_.refine(mode, kFirstSteps);
        drop_same();
    }
    drop_unlikely();
    if (modes_.empty()) return stop();
    if (modes_.size() > kMostModes) modes_.resize(kMostModes);
    answer();
}

}  // namespace rankwright::listening

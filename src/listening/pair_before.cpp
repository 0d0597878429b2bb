// A reference and a pipe, heard from the time when the reference was still alone.
#include "listening/pair_follower.h"
#include "listening/pair_onset.h"

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
/// Two that hardly beat are looked for here too, in turns from the best.
constexpr std::array<double, 4> kBeatsTried{-0.6, -0.2, 0.2, 0.6};

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
/// granted there. What is asked for are the means from `from` on.
void PairFollower::hear_window(FrameIndex from, FrameIndex to, std::span<const HiddenSpan> hidden) {
    if (!hears_before(to)) {
        set_model(from, to, kMostTogether);
        return stream_.window(from, to, hidden, bands_);
    }
    const FrameIndex alone_from = before_->from;
    set_model(alone_from, to, kMostFromBefore);
    const auto from_middle = [&](FrameIndex at) {
        return 0.5 * (duration(at - alone_from, rate_) - duration(to - at, rate_)).count();
    };
    model_.pipe_from_s = from_middle(before_->both_from);
    model_.means_from_s = from_middle(std::max(from, before_->both_from));
    hidden_.assign(hidden.begin(), hidden.end());
    hidden_.push_back({before_->to, before_->both_from});
    stream_.window(alone_from, to, hidden_, bands_);
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
    hear_window(before_->both_from, to, {});
    const Seconds later = duration(from_ - old_from, rate_) + duration(to_ - old_to, rate_);
    fit_.take(bands_, model_);
    for (PairState& mode : modes_)
        fit_.carry(mode, old, 0.5 * later.count());
    const bool apart = stand_apart(places.back());
    if (apart) places = places.last(1);
    // Where the reference was alone it has to stand: from a short span its path leads elsewhere.
    const bool known = request_.reference_sd.value() < kKnown * model_.nominal_hz[0];
    const double reference = known ? 0.0 : places.back().reference_hz - model_.nominal_hz[0];
    const double same = reference * request_.reference_partial / request_.pipe_partial;
    for (const double turns : kBeatsTried)
        if (!apart)
            modes_.push_back(fit_.start(
                reference, same + turns / (model_.means_over_s() * request_.pipe_partial)));
    for (const PairPlace& place : places)
        modes_.push_back(fit_.start(reference, place.pipe_hz - model_.nominal_hz[1]));
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

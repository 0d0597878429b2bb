#include "listening/pair/follower.h"

#include "listening/pair/candidates.h"
#include "listening/pair/number.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kLeastRate = 60.0;  // of the bands: what moves is seen soon
constexpr std::size_t kBands = 10;
constexpr std::size_t kMostHidden = 32;
constexpr double kGiveUp = 30.0;   // in evidence, below the best
constexpr double kMoves = 0.0018;  // room for the pipe to be moved, relative: 3 cents
constexpr double kMovesLeast_hz = 0.6;
constexpr int kSteps = 2;
constexpr Seconds kShortest{0.2};
/// A tone over the wind, or over what the last key's pipes left in the room, in which it set in, at
/// least, in power: simulated ones by 20 dB and more, and a reed that joins a flue by up to 11.
constexpr double kSetsIn = 30.0;
constexpr Seconds kPieceOfSpan{0.1};
/// What is left in a room falls by 6 dB, the half of a span against the other, in 0.15 s or so; a
/// tone that stands in one that fills keeps within 2 or 3.
constexpr double kFallsAway = 4.0;

}  // namespace

PairFollower::PairFollower(SampleRate rate, Seconds longest)
    : rate_(rate), stream_(rate, std::max(longest, kHearsBefore), kLeastRate) {
    modes_.reserve(2 * kMostModes);
    places_.reserve(2 * kMostModes);
    hidden_.reserve(kMostHidden);
}

void PairFollower::stop() {
    modes_.clear();
    before_.reset();
    stream_.stop();
    two_ = joined_ = false;
    side_ = 0.0;
}

void PairFollower::choose_bands(const PairPlan& plan, const std::vector<PairPlace>& places,
                                const SoundHistory& sound, FrameIndex from) {
    double low = 0.0, high = 0.0;
    const double m = request_.reference_partial, n = request_.pipe_partial;
    const double room = std::max(kMovesLeast_hz, kMoves * m * request_.reference.value());
    for (const PairPlace& place : places) {
        const double beat = n * place.found_hz[1] - m * request_.reference.value();
        low = std::min(low, beat - room);
        high = std::max(high, beat + room);
    }
    std::vector<PairStream::Line> lines;
    for (const PairPlan::Line& line : telling_lines(plan.lines, 2 * kBands)) {
        const auto band = band_of(line, request_, plan, low, high);
        if (band && lines.size() < kBands) lines.push_back({*band, line.floor});
    }
    stream_.begin(lines, sound, channel_, from);
}

void PairFollower::set_model(FrameIndex from, FrameIndex to, const PairTerms& most) {
    from_ = from;
    to_ = to;
    model_ = model_of(request_, duration(to - from, rate_).count());
    model_.wander_terms = terms_over(model_.span_s, 3.0, 2.0, most.path);
    model_.gain_terms = terms_over(model_.span_s, 1.5, 2.0, most.gain);
    // One tone that wanders mustn't be taken for two.
    alone_model_ = model_;
    alone_model_.wander_terms = terms_over(model_.span_s, 6.0, 3.0, 16.0);
}

bool PairFollower::search(const SoundHistory& sound, FrameIndex from, FrameIndex to,
                          const PairRequest& request, const PairPremise& premise,
                          const std::optional<HeardBefore>& before) {
    // Where they were found from before is worth a try again.
    const bool again = before && before_ && before->from == before_->from && two_;
    std::vector<PairPlace> known = again ? places_ : std::vector<PairPlace>{};
    const double side = side_;
    stop();
    side_ = side;
    request_ = request;
    request_.rate = rate_;
    const auto samples = sound.between(channel_, from, to);
    const PairPlan plan = plan_pair(samples, request_);
    if (plan.lines.empty()) return false;
    const SearchEffort effort = premise.moving ? SearchEffort::quick : SearchEffort::thorough;
    std::vector<PairPlace> places = find_places(samples, request_, plan, effort);
    if (places.empty()) return false;
    if (places.size() > kMostModes) places.resize(kMostModes);
    const bool recent = before && duration(to - before->from, rate_) <= kHearsBefore;
    choose_bands(plan, places, sound, recent ? before->from : from);
    if (!stream_.active()) return false;
    set_model(from, to, kMostTogether);
    moved_ = false;
    stream_.window(from, to, {}, bands_);
    fit_.take(bands_, model_);
    for (const PairPlace& place : places) {
        modes_.push_back(start_at(fit_, model_, place));
        fit_.refine(modes_.back(), kFirstSteps);
    }
    // Two alike explain the sound as well with their names exchanged; what is known of the
    // reference tells, if that is among the explanations.
    const double ratio = model_.nominal_hz[0] / model_.nominal_hz[1];
    const PairPlace& best = places.front();
    if (std::abs(ratio * best.found_hz[1] - model_.nominal_hz[0]) <
        std::abs(best.found_hz[0] - model_.nominal_hz[0])) {
        modes_.push_back(fit_.start(ratio * best.found_hz[1] - model_.nominal_hz[0],
                                    best.found_hz[0] / ratio - model_.nominal_hz[1]));
        fit_.refine(modes_.back(), kFirstSteps);
    }
    drop_unlikely();
    if (modes_.empty()) return false;
    alone_bands_ = bands_;
    for (PairBand& band : alone_bands_)
        band.line.pipe_partial = 0;
    alone_fit_.take(alone_bands_, alone_model_);
    one_ = one_tone(alone_fit_, alone_model_, places.front(), kFirstSteps);
    judge_number(places.front(), premise);
    if (recent) before_ = before;
    known.insert(known.end(), places.rbegin(), places.rend());
    if (!hears_before(to)) return true;
    joined_ = joining_shows(to);
    const bool sure = joined_ || premise.surely_two || explains_ ||
                      beats_whole(Hertz{places.front().beat(request_)});
    if (sure) {
        hear_from_before(to, known);
    } else {
        two_ = false;
        answer();
    }
    return true;
}

bool PairFollower::follow(FrameIndex from, FrameIndex read_from, FrameIndex to,
                          std::span<const HiddenSpan> hidden) {
    if (duration(to - from, rate_) < kShortest) return false;
    const PairModel old = model_, old_alone = alone_model_;
    const FrameIndex old_from = from_, old_to = to_;
    hear_window(from, read_from, to, hidden);
    moved_ = read_from > from;
    const double later_s =
        0.5 * (duration(from_ - old_from, rate_) + duration(to_ - old_to, rate_)).count();
    if (two_) {
        fit_.take(bands_, model_);
        for (PairState& mode : modes_) {
            fit_.carry(mode, old, later_s);
            fit_.refine(mode, kSteps);
        }
        drop_unlikely();
        if (modes_.empty()) {
            stop();
            return false;
        }
    } else {
        for (PairBand& band : bands_)
            band.line.pipe_partial = 0;
        alone_fit_.take(bands_, alone_model_);
        alone_fit_.carry(one_, old_alone, later_s);
        alone_fit_.refine(one_, kSteps);
    }
    answer();
    return true;
}

void PairFollower::read(FrameIndex from) {
    model_.means_from_s = 0.5 * model_.span_s - duration(to_ - from, rate_).count();
    fit_.ask_from(model_.means_from_s);
    moved_ = true;
    answer();
}

/// Power of the reference's lines, mean over a span; empty where one of them isn't kept.
std::optional<double> PairFollower::reference_power(FrameIndex from, FrameIndex to) const {
    double sum = 0.0;
    for (std::size_t b = 0; b < stream_.size(); ++b) {
        if (stream_.line(b).reference_partial == 0) continue;
        const auto power = stream_.power(b, from, to);
        if (!power) return std::nullopt;
        sum += *power;
    }
    return sum;
}

PairFollower::Stood PairFollower::stood(FrameIndex from, FrameIndex to) const {
    Stood stood;
    const FrameIndex middle{(from.value + to.value) / 2};
    const auto early = reference_power(from, middle), late = reference_power(middle, to);
    stood.falls = early && late && *early > kFallsAway * *late;
    const std::int64_t piece = std::llround(kPieceOfSpan.count() * rate_.value());
    const auto latest = reference_power(to + -piece, to);
    for (FrameIndex at = to + -2 * piece; latest && at >= from; at = at + -piece) {
        const auto then = reference_power(at, at + piece);
        if (!then) break;
        if (kSetsIn * *then > *latest) continue;
        stood.set_in = at + piece;
        break;
    }
    return stood;
}

/// Leaves the better of two in one place; best first.
void PairFollower::drop_same() {
    const auto gone = [](const PairState& m) { return !std::isfinite(m.evidence); };
    modes_.erase(std::remove_if(modes_.begin(), modes_.end(), gone), modes_.end());
    std::sort(modes_.begin(), modes_.end(),
              [](const PairState& a, const PairState& b) { return a.evidence > b.evidence; });
    const std::size_t second = 1 + model_.wander_terms;
    const double near = 0.02 / model_.span_s;
    const auto same = [&](const PairState& a, const PairState& b) {
        return std::abs(a.unknowns[0] - b.unknowns[0]) < near &&
               std::abs(a.unknowns[second] - b.unknowns[second]) < near;
    };
    for (std::size_t i = 1; i < modes_.size();) {
        const auto here = modes_.begin() + static_cast<std::ptrdiff_t>(i);
        if (std::any_of(modes_.begin(), here, [&](const PairState& m) { return same(m, *here); }))
            modes_.erase(here);
        else
            ++i;
    }
}

void PairFollower::drop_unlikely() {
    drop_same();
    while (modes_.size() > 1 && modes_.back().evidence < modes_.front().evidence - kGiveUp)
        modes_.pop_back();
}

}  // namespace rankwright::listening

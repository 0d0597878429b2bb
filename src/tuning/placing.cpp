#include "tuning/placing.h"

#include "core/median.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <utility>

namespace rankwright::tuning {

namespace {

// Everything here is a cost: minus the logarithm of how likely a thing is beside the usual one.
// How helpers play and how far pipes stand off: common practice, no source.
constexpr double kScatter_cents = 6.0;  // of pipes about their rank
constexpr double kAstray = 0.08;        // share of pipes that stand anywhere
constexpr double kAstrayScale_cents = 60.0;
constexpr double kFarthest_cents = 85.0;
constexpr double kSlipped = 5.0;
constexpr double kSlippedToo = 1.0;  // as the pipe before did: the rank's way of speaking
// The same pipe, played again, stands where it stood.
constexpr double kAgain_cents = 1.5;
constexpr double kNoKey = 4.0;            // a tone that is no pipe of the rank …
constexpr double kNoKeyEachSecond = 2.5;  // … the longer the less likely
constexpr double kLongNoKey_s = 1.6;
constexpr double kRepeat = 2.0;
constexpr double kFirstStep = 0.7;
constexpr double kSkip = 1.5;
constexpr double kSkipEach = 0.4;
constexpr int kLongestSkip = 12;
constexpr double kTurnRound = 4.0;
constexpr double kJump = 7.0;
constexpr double kStartInside = 1.0;  // beginning elsewhere than at an end of the rank
constexpr int kMostBetween = 8;       // tones in a row that are no keys
constexpr double kOffsetStep_cents = 7.5;
constexpr double kWidestOffset_cents = 150.0;
constexpr double kDoubtful = 3.0;

constexpr std::array<int, 5> kStrides{0, 1, -1, 2, -2};  // 0: not yet known
constexpr std::array<Slip, 5> kSlips{Slip::none, Slip::octave_up, Slip::octave_down,
                                     Slip::twelfth_up, Slip::fifteenth_up};
/// What another knob gives: a 16′, 8′, 4′, 2 2/3′ or 2′ for another of them; an octave is likelier.
struct WrongStop {
    double cents = 0.0;  ///< above the stop that was expected
    double cost = 0.0;
};
constexpr double kWrongOctave = 8.0, kWrongQuint = 11.0;
constexpr std::array<WrongStop, 15> kStops{{{},
                                            {1200.0, kWrongOctave},
                                            {-1200.0, kWrongOctave},
                                            {2400.0, kWrongOctave},
                                            {-2400.0, kWrongOctave},
                                            {3600.0, kWrongOctave},
                                            {-3600.0, kWrongOctave},
                                            {701.955, kWrongQuint},
                                            {-701.955, kWrongQuint},
                                            {1901.955, kWrongQuint},
                                            {-1901.955, kWrongQuint},
                                            {498.045, kWrongQuint},
                                            {-498.045, kWrongQuint},
                                            {3101.955, kWrongQuint},
                                            {-3101.955, kWrongQuint}}};
constexpr double kNever = std::numeric_limits<double>::infinity();

struct Candidate {
    int key = 0;
    Slip slip = Slip::none;
    double off = 0.0;
    double cost = 0.0;
};

/// Best way to a candidate of a tone, with the stride of play on arriving there.
struct Way {
    double cost = kNever;
    int tone = -1, candidate = -1, stride = -1;  // where it came from; −1: the beginning
};

double cost_off(double off, double scale) {
    return -std::log((1.0 - kAstray) * std::exp(-std::abs(off) / scale) +
                     kAstray * std::exp(-std::abs(off) / kAstrayScale_cents));
}

double cost_skip(int keys) { return keys <= 1 ? 0.0 : kSkip + kSkipEach * (keys - 1); }

/// Cost of going from one key to another with a stride before and after; infinite when the step
/// doesn't make that stride.
double cost_step(int from, int to, int before, int after, double jump) {
    const int step = to - from;
    if (step == 0) return after == before ? kRepeat : kNever;
    if (after == 0) return jump;
    if (step % after != 0 || step / after < 1 || step / after > kLongestSkip) return kNever;
    const double skip = cost_skip(step / after);
    if (after == before) return skip;
    return before == 0 ? kFirstStep + skip : kTurnRound + skip;
}

class Search {
  public:
    Search(std::span<const ToneToPlace> tones, const RankKeys& rank) : tones_(tones), rank_(rank) {
        double sum = 0.0;
        no_key_.push_back(0.0);
        for (const ToneToPlace& tone : tones) {
            sum += kNoKey +
                   kNoKeyEachSecond * std::clamp((tone.to - tone.from).count(), 0.0, kLongNoKey_s);
            no_key_.push_back(sum);
            cents_.push_back(interval(Hertz{440.0}, tone.pitch).value());
        }
        for (const KeyPitch& key : rank.keys)
            keys_.push_back(interval(Hertz{440.0}, key.pitch).value());
    }

    /// The cost of the best placing when the rank stands `offset` away and `stop` sounds.
    double best(double offset, const WrongStop& stop) {
        const double cost = cheapest(offset, stop, true, kJump);
        const double unlike = unlike_again();
        // Where a jump makes two pipes one, they may be another's octaves instead.
        constexpr double kWorthTrying = 1.0;
        if (unlike < kWorthTrying) return cost + unlike;
        const double straight = cheapest(offset, stop, true, kNever) + unlike_again();
        if (straight < cost + unlike) return straight;
        return cheapest(offset, stop, true, kJump) + unlike;
    }
    /// About the same, in a fifth of the time.
    double roughly(double offset, const WrongStop& stop) {
        return cheapest(offset, stop, false, kJump);
    }

    /// The placing that the last call of these found.
    std::vector<PlacedTone> placed() const {
        std::vector<PlacedTone> placed(tones_.size());
        for (Way way = last_; way.tone >= 0;) {
            const auto i = static_cast<std::size_t>(way.tone);
            const auto c = static_cast<std::size_t>(way.candidate);
            const Candidate& one = candidates_[i][c];
            placed[i] = {one.key, one.slip, Cents{one.off}};
            way = ways_[i][c][static_cast<std::size_t>(way.stride)];
        }
        return placed;
    }

  private:
    double cheapest(double offset, const WrongStop& stop, bool with_slips, double jump) {
        jump_ = jump;
        candidates_.clear();
        ways_.clear();
        for (std::size_t i = 0; i < tones_.size(); ++i) {
            candidates_.push_back(candidates(i, offset + stop.cents, with_slips));
            ways_.emplace_back(candidates_[i].size());
            reach(static_cast<int>(i));
        }
        last_ = {};
        last_.cost = no_key_.back();
        for (std::size_t i = 0; i < tones_.size(); ++i)
            for (std::size_t c = 0; c < candidates_[i].size(); ++c)
                for (std::size_t s = 0; s < kStrides.size(); ++s) {
                    const double cost = ways_[i][c][s].cost + no_key_.back() - no_key_[i + 1];
                    if (cost < last_.cost)
                        last_ = {cost, static_cast<int>(i), static_cast<int>(c),
                                 static_cast<int>(s)};
                }
        return last_.cost + prior(offset) + stop.cost;
    }

    /// What the last placing makes of one pipe, heard again, may stand where it didn't before: then
    /// it was two.
    double unlike_again() const {
        std::map<int, std::pair<double, double>> heard;  // by key: its off, its uncertainty
        double sum = 0.0;
        const std::vector<PlacedTone> all = placed();
        for (std::size_t i = 0; i < all.size(); ++i) {
            if (!all[i].key || all[i].slip != Slip::none) continue;
            const double off = all[i].off.value(), doubt = tones_[i].uncertainty.value();
            const auto [before, first] = heard.try_emplace(*all[i].key, off, doubt);
            if (first) continue;
            const double scale = std::hypot(kAgain_cents, doubt, before->second.second);
            sum += cost_off(off - before->second.first, scale) - cost_off(0.0, scale);
            before->second = {off, doubt};
        }
        return sum;
    }

    double prior(double offset) const {
        const double z = offset / rank_.offset_sd.value();
        return 0.5 * z * z;
    }

    std::vector<Candidate> candidates(std::size_t tone, double shift, bool with_slips) const {
        std::vector<Candidate> found;
        for (const Slip slip : kSlips) {
            if (slip != Slip::none && !with_slips) break;
            const double at = cents_[tone] - shift - size_of(slip).value();
            for (std::size_t k = 0; k < keys_.size(); ++k) {
                const double off = at - keys_[k];
                if (std::abs(off) > kFarthest_cents) continue;
                // A slip is a step between natural modes; a pipe that is far out as well is rare.
                const double cost =
                    cost_off(off, std::hypot(kScatter_cents, tones_[tone].uncertainty.value())) +
                    (slip == Slip::none ? 0.0 : kSlipped);
                found.push_back({rank_.keys[k].key, slip, off, cost});
            }
        }
        return found;
    }

    void reach(int tone) {
        const auto i = static_cast<std::size_t>(tone);
        for (std::size_t c = 0; c < candidates_[i].size(); ++c) {
            const Candidate& here = candidates_[i][c];
            auto& ways = ways_[i][c];
            const bool at_an_end =
                here.key <= rank_.keys.front().key + 1 || here.key >= rank_.keys.back().key - 1;
            ways[0] = {no_key_[i] + here.cost + (at_an_end ? 0.0 : kStartInside), -1, -1, -1};
            for (int from = std::max(0, tone - 1 - kMostBetween); from < tone; ++from)
                come(tone, c, from);
        }
    }

    void come(int tone, std::size_t c, int from) {
        const auto i = static_cast<std::size_t>(tone);
        const auto j = static_cast<std::size_t>(from);
        const Candidate& here = candidates_[i][c];
        const double between = no_key_[i] - no_key_[j + 1] + here.cost;
        for (std::size_t p = 0; p < candidates_[j].size(); ++p)
            for (std::size_t s = 0; s < kStrides.size(); ++s) {
                const bool too = here.slip != Slip::none && here.slip == candidates_[j][p].slip;
                const double cost =
                    ways_[j][p][s].cost + between - (too ? kSlipped - kSlippedToo : 0.0);
                if (cost == kNever) continue;
                for (std::size_t t = 0; t < kStrides.size(); ++t) {
                    const double all = cost + cost_step(candidates_[j][p].key, here.key,
                                                        kStrides[s], kStrides[t], jump_);
                    if (all < ways_[i][c][t].cost)
                        ways_[i][c][t] = {all, from, static_cast<int>(p), static_cast<int>(s)};
                }
            }
    }

    std::span<const ToneToPlace> tones_;
    const RankKeys& rank_;
    std::vector<double> no_key_;  // running sum over the tones
    std::vector<double> cents_, keys_;
    std::vector<std::vector<Candidate>> candidates_;
    std::vector<std::vector<std::array<Way, kStrides.size()>>> ways_;
    Way last_;
    double jump_ = kJump;
};

/// The rank's own middle, from tones that are in place.
double middle_of(const std::vector<PlacedTone>& placed) {
    std::vector<double> off;
    for (const PlacedTone& tone : placed)
        if (tone.key && tone.slip == Slip::none) off.push_back(tone.off.value());
    return off.empty() ? 0.0 : median(std::move(off));
}

/// Where the rank may stand, and what sounds.
struct Guess {
    double cost = kNever;
    double offset = 0.0;
    WrongStop stop;
};

/// The likeliest guesses on a coarse grid: of the likeliest stops, no two of one alike.
std::vector<Guess> likeliest(Search& search) {
    constexpr std::size_t kMostStops = 5, kMostOfOne = 2;
    constexpr double kAlike_cents = 40.0;
    const auto cheaper = [](const auto& a, const auto& b) { return a.cost < b.cost; };
    std::vector<std::vector<Guess>> by_stop;
    for (const WrongStop& stop : kStops) {
        std::vector<Guess> all;
        for (double offset = -kWidestOffset_cents; offset <= kWidestOffset_cents;
             offset += kOffsetStep_cents)
            all.push_back({search.roughly(offset, stop), offset, stop});
        std::sort(all.begin(), all.end(), cheaper);
        std::vector<Guess> guesses;
        for (const Guess& guess : all) {
            const bool alike = std::any_of(guesses.begin(), guesses.end(), [&](const Guess& other) {
                return std::abs(other.offset - guess.offset) < kAlike_cents;
            });
            if (!alike && guesses.size() < kMostOfOne) guesses.push_back(guess);
        }
        by_stop.push_back(std::move(guesses));
    }
    std::sort(by_stop.begin(), by_stop.end(),
              [&](const auto& a, const auto& b) { return cheaper(a.front(), b.front()); });
    std::vector<Guess> guesses;
    for (std::size_t i = 0; i < kMostStops; ++i)
        guesses.insert(guesses.end(), by_stop[i].begin(), by_stop[i].end());
    return guesses;
}

}  // namespace

Cents size_of(Slip slip) {
    switch (slip) {
        case Slip::none:
            return Cents{0.0};
        case Slip::octave_up:
            return Cents{1200.0};
        case Slip::octave_down:
            return Cents{-1200.0};
        case Slip::twelfth_up:
            return interval(Hertz{1.0}, Hertz{3.0});
        case Slip::fifteenth_up:
            return Cents{2400.0};
    }
    return Cents{0.0};
}

Placing place(std::span<const ToneToPlace> tones, const RankKeys& rank) {
    Placing placing;
    placing.tones.resize(tones.size());
    if (tones.empty() || rank.keys.empty()) return placing;
    Search search(tones, rank);
    Guess best;
    for (Guess guess : likeliest(search)) {
        // The grid is coarse beside the pipes' scatter: about the middle of what was placed.
        constexpr int kLooks = 3;
        constexpr double kNoNearer_cents = 0.2;
        for (int look = 0; look < kLooks; ++look) {
            guess.cost = search.best(guess.offset, guess.stop);
            if (guess.cost < best.cost) best = guess;
            const double middle = middle_of(search.placed());
            if (std::abs(middle) < kNoNearer_cents) break;
            guess.offset += middle;
        }
    }
    search.best(best.offset, best.stop);
    placing.stop_interval = Cents{best.stop.cents};
    placing.tones = search.placed();
    placing.offset = Cents{best.offset};
    for (const int keys : {1, -1}) {
        const double other = search.best(best.offset - 100.0 * keys, best.stop);
        if (other < best.cost + kDoubtful) placing.or_keys_off = keys;
    }
    return placing;
}

}  // namespace rankwright::tuning

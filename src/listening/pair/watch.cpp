#include "listening/pair/watch.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kHighestWatched_hz = 4500.0;
constexpr double kWidest_hz = 120.0;
constexpr double kWidth = 0.22;  // of the spacing, either side
/// Of their frequency, either side of partials that only the pipe has, 31 cents, but so that a
/// filter answers within a tenth of a second: what a neighbouring key's pipe leaves in the room
/// isn't one.
constexpr double kOwnWidth = 0.018;
constexpr double kOwnWidthLeast_hz = 20.0;
constexpr double kBeatStandsOut = 12.0;
constexpr double kSuddenly = 8.0;
constexpr double kNoticed = 1e-3;  // of the tones' power
constexpr double kOther = 0.15;    // of the tones' power, what changed of it
constexpr double kOwnStandsOut = 20.0;
constexpr double kOwnLeast = 1e-4;  // of the tones' power
/// Of what they were over half a second: what another key's pipe leaves in the room falls by more
/// (simulated rooms of 1 to 3 s).
constexpr double kOwnFalls = 0.5;
// Simulated pipes that speak stand a thousand times and more over what is beside their partials,
// the wind of silent ones, which takes its colour from the pipe, 5 to 35 times.
constexpr double kOverWind = 60.0;
constexpr double kLeastOver = 1e-3;  // what stands further out counts as this
constexpr Seconds kMissing{0.5};
constexpr Seconds kUsualLevel{1.5};
constexpr Seconds kMemory{0.05};
constexpr Seconds kUsualWatch{1.0};

}  // namespace

PairWatch::PairWatch(SampleRate rate, int channel)
    : rate_(rate), channel_(channel), stream_(rate, Seconds{0.3}, 40.0) {}

void PairWatch::expect(Hertz reference, int m, int n, const SoundHistory& sound) {
    places_.clear();
    std::vector<PairStream::Line> lines;
    const double spacing = reference.value() / n;
    const double width = std::min(kWidth * spacing, kWidest_hz);
    pipe_has_own_ = false;
    const auto add = [&](Place::Kind kind, double hz, bool pipe_only) {
        if (hz > 0.45 * rate_.value()) return;
        places_.push_back({kind, lines.size(), pipe_only, 0.0, 0.0, {-1}});
        const double half =
            pipe_only ? std::min(width, std::max(kOwnWidth * hz, kOwnWidthLeast_hz)) : width;
        // Between, partials on either side have to stay out.
        const bool between = kind == Place::Kind::between;
        lines.push_back({between ? PairLine{1, 1, hz, 0.5 * half, 0.5 * spacing}
                                 : PairLine{1, 1, hz, half, spacing},
                         0.0});
    };
    for (const int unit : {1, 2, 3, 4, 5, 6, 8, 12, 16, 24, 32}) {
        if (unit > 2 && unit * spacing > kHighestWatched_hz) continue;
        if (unit % m != 0 && unit % n != 0) continue;
        // A stopped or harmonic pipe may lack some of them.
        const bool pipe_only = unit % n != 0;
        pipe_has_own_ = pipe_has_own_ || pipe_only;
        add(Place::Kind::line, unit * spacing, pipe_only);
        add(Place::Kind::between, (unit + 0.5) * spacing, pipe_only);
    }
    for (int j = 1; j <= static_cast<int>(kRibbonPartials); ++j)
        add(Place::Kind::meeting, j * m * reference.value(), false);
    stream_.begin(lines, sound, channel_, sound.end());
    lag_ = Seconds{std::max(0.05, 7.0 * 0.3 / width)};
    line_power_ = between_power_ = usual_between_ = 0.0;
    off_ = usual_line_ = own_ = own_between_ = own_long_ = own_over_between_ = 0.0;
    heard_ = Seconds{0.0};
    last_ = sound.end();
}

void PairWatch::smooth(Place& place) {
    std::complex<double> z;
    FrameIndex at;
    if (!stream_.newest(place.stream, z, at) || at <= place.seen) return;
    const bool first = place.seen.value < 0;
    const Seconds since = duration(at - place.seen, rate_);
    place.seen = at;
    place.power +=
        (first ? 1.0 : 1.0 - std::exp(-(since / kMemory))) * (std::norm(z) - place.power);
}

void PairWatch::advance(const SoundHistory& sound) {
    stream_.advance(sound);
    line_power_ = between_power_ = off_ = usual_line_ = own_ = own_between_ = 0.0;
    all_seen_ = true;
    for (Place& place : places_) {
        if (place.kind == Place::Kind::meeting) continue;
        smooth(place);
        all_seen_ = all_seen_ && place.seen.value >= 0;
        const bool line = place.kind == Place::Kind::line;
        (line ? line_power_ : between_power_) += place.power;
        if (place.pipe_only) (line ? own_ : own_between_) += place.power;
        if (!line) continue;
        off_ += std::abs(place.power - place.usual);
        usual_line_ += place.usual;
    }
    const Seconds passed = duration(sound.end() - last_, rate_);
    const double lately = 1.0 - std::exp(-(passed / kMissing));
    own_long_ += lately * (own_ - own_long_);
    // By ratios: a mean of powers remembers the last key's pipe for seconds.
    const double over =
        own_ > 0.0 ? std::log(own_ / std::max(own_between_, kLeastOver * own_)) : 0.0;
    own_over_between_ += lately * (over - own_over_between_);
    if (!changed())
        for (Place& place : places_)
            place.usual += (1.0 - std::exp(-(passed / kUsualLevel))) * (place.power - place.usual);
    last_ = sound.end();
    heard_ += passed;
    // What is usual is learned slowly upward: a word mustn't become it.
    const bool up = between_power_ > usual_between_;
    const Seconds memory = heard_ < kUsualWatch && !hidden() ? 0.2 * kUsualWatch
                           : up                              ? 4.0 * kUsualWatch
                                                             : kUsualWatch;
    usual_between_ += (1.0 - std::exp(-(passed / memory))) * (between_power_ - usual_between_);
}

void PairWatch::learn() {
    usual_between_ = between_power_;
    for (Place& place : places_)
        place.usual = place.power;
}

bool PairWatch::changed() const { return off_ > kOther * usual_line_; }

bool PairWatch::pipe_sounds() const {
    return pipe_has_own_ && own_ > kOwnStandsOut * own_between_ && own_ > kOwnLeast * line_power_ &&
           own_ > kOwnFalls * own_long_;
}

bool PairWatch::pipe_missing() const {
    return pipe_has_own_ && own_over_between_ < std::log(kOverWind);
}

bool PairWatch::present() const {
    return all_seen_ && line_power_ > kBeatStandsOut * between_power_ + 1e-12;
}

bool PairWatch::hidden() const {
    return heard_ > 0.3 * kUsualWatch && between_power_ > kSuddenly * usual_between_ &&
           between_power_ > kNoticed * line_power_;
}

std::optional<double> PairWatch::meeting_power(FrameIndex from, FrameIndex to) const {
    for (const Place& place : places_)
        if (place.kind == Place::Kind::meeting) return stream_.power(place.stream, from, to);
    return std::nullopt;
}

PartialFrame PairWatch::frame(FrameIndex now) const {
    PartialFrame frame;
    frame.at = now;
    std::size_t j = 0;
    for (const Place& place : places_) {
        std::complex<double> z;
        FrameIndex at;
        if (place.kind == Place::Kind::meeting && j < kRibbonPartials &&
            stream_.newest(place.stream, z, at))
            frame.phasor[j++] = std::complex<float>(2.0 * z);
    }
    return frame;
}

}  // namespace rankwright::listening

#include "listening/tone_follower.h"

#include "listening/arithmetic.h"
#include "listening/converter.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr Seconds kShortestHop{0.006};
constexpr Seconds kLongestHop{0.016};
constexpr std::size_t kMostBlocks = 96;
constexpr std::int64_t kSlice = 2048;  // frames fed at once
constexpr Hertz kHighestPartial{14000.0};
constexpr Seconds kHeldAfterKnock{0.06};
constexpr Seconds kLongestKnock{1.5};       // after that, the noise is taken as here to stay
constexpr double kKnock = 6.0;              // times the usual residual power
constexpr double kHarmlessResidual = 1e-4;  // of the tone's power
constexpr Cents kCoherent{8.0};             // while it is followed
constexpr Cents kRetuneAt{8.0};
constexpr Cents kRefineAt{1.0};
constexpr std::int64_t kRefineAfter = 6;    // hops
constexpr std::int64_t kReplayAlways = 16;  // hops: until then every hop weighs all anew
constexpr double kReplayGrowth = 1.4;
constexpr std::int64_t kReplayUpTo = 230;
constexpr std::int64_t kCheckEvery = 25;  // hops: whether the weights still serve
constexpr std::int64_t kRecent = 80;

// The shortest hop that holds whole periods nearly enough for the partials not to leak into each
// other, else the best one.
std::size_t hop_frames(SampleRate rate, Hertz pitch) {
    constexpr double kNearEnough = 2e-4;
    const double period = rate.value() / pitch.value();
    const double shortest = std::max(1.0, std::ceil(kShortestHop.count() * pitch.value()));
    const double longest = std::max(shortest, std::floor(kLongestHop.count() * pitch.value()));
    double best = 1.0;
    double frames = shortest * period;
    for (double periods = shortest; periods <= longest && best > kNearEnough; periods += 1.0) {
        const double misfit = std::abs(std::round(periods * period) / (periods * period) - 1.0);
        if (misfit >= best) continue;
        best = misfit;
        frames = periods * period;
    }
    return static_cast<std::size_t>(std::lround(frames));
}

double decibels(double power) { return 10.0 * std::log10(std::max(power, 1e-12)); }

}  // namespace

ToneFollower::ToneFollower(SampleRate rate, int channels)
    : rate_(rate), channels_(channels), leaks_(static_cast<int>(kMostPartials)) {
    for (int c = 0; c < channels; ++c)
        banks_.emplace_back(rate, static_cast<int>(kMostPartials), kMostBlocks);
    const std::size_t rows = static_cast<std::size_t>(channels) * kMostPartials;
    raw_.resize(static_cast<std::size_t>(channels) * (kMostPartials + 1) * kKeptHops);
    hop_sums_.resize(kMostPartials + 1);
    series_.resize(rows * kKeptHops);
    hops_.resize(kKeptHops);
    weight_.resize(rows);
    amplitude_.resize(rows);
    noise_.resize(rows);
    power_.resize(rows);
    standing_.resize(rows);
    stands_.resize(rows);
    turns_.reserve(rows);
}

bool ToneFollower::can_follow(Hertz pitch) const {
    return pitch > Hertz{0.0} && pitch.value() < kTrueShare * rate_.value();
}

void ToneFollower::start(const SoundHistory& sound, Hertz pitch, FrameIndex onset) {
    active_ = true;
    refined_ = false;
    partials_ =
        std::clamp(static_cast<int>(std::min(kTrueShare * rate_.value(), kHighestPartial.value()) /
                                    pitch.value()),
                   1, static_cast<int>(kMostPartials));
    begin_at(sound, pitch, std::max(onset, sound.begin()));
}

void ToneFollower::begin_at(const SoundHistory& sound, Hertz pitch, FrameIndex onset) {
    onset_ = onset;
    fed_to_ = heard_to_ = onset;
    hop_count_ = steady_ = weighed_at_ = tuned_at_ = 0;
    cycles_ = 0.0;
    coherent_ = stood_ = ended_ = ending_ = repeated_ = fading_ = tremulant_ = drift_known_ = false;
    only_wind_ = false;
    falling_ = risen_ = low_ = 0;
    disturbed_left_ = disturbed_for_ = moving_left_ = moved_at_ = 0;
    outliers_ = 0;
    stray_ = 0.0;
    lag_ = 1;
    quiet_residual_ = snr_ = drift_ = turn_ = 0.0;
    steady_level_ = lowest_level_ = highest_level_ = -120.0;
    std::fill(weight_.begin(), weight_.end(), 0.0);
    std::fill(stands_.begin(), stands_.end(), false);
    std::fill(amplitude_.begin(), amplitude_.end(), 0.0);
    tune(pitch);
    tracker_.begin(pitch, Cents{40.0});
    feed(sound, sound.end());
}

void ToneFollower::tune(Hertz pitch) {
    tuned_ = pitch;
    const std::size_t frames = hop_frames(rate_, pitch);
    for (PartialBank& bank : banks_)
        bank.tune(pitch, partials_, frames);
    partials_ = banks_.front().partials();
    leaks_.tune(pitch.value() / rate_.value(), partials_, frames);
    hop_ = duration(static_cast<std::int64_t>(frames), rate_);
    const double periods = static_cast<double>(frames) * pitch.value() / rate_.value();
    misfit_ = std::abs(periods / std::round(periods) - 1.0);
}

void ToneFollower::process(const SoundHistory& sound) {
    if (!active_) return;
    if (sound.begin() > fed_to_) {  // frames were lost
        tracker_.advance(duration(sound.begin() - fed_to_, rate_));
        fed_to_ = sound.begin();
        join_next_ = false;
    }
    feed(sound, sound.end());
    if (!can_follow(pitch())) {
        stop();
        return;
    }
    const double off = std::abs(interval(tuned_, refined_ ? recent_pitch() : pitch()).value());
    if (!refined_ && hop_count_ >= kRefineAfter && coherent_) {
        refined_ = true;
        if (off > kRefineAt.value()) begin_at(sound, pitch(), std::max(onset_, sound.begin()));
    } else if (refined_ && off > kRetuneAt.value() && hop_count_ > tuned_at_ + kRefineAfter &&
               sd().value() < kRetuneAt.value()) {
        tracker_.rebase(pitch());
        tune(pitch());
        tuned_at_ = hop_count_;
        join_next_ = false;
    }
}

void ToneFollower::feed(const SoundHistory& sound, FrameIndex to) {
    while (fed_to_ < to) {
        const FrameIndex end = std::min(to, fed_to_ + kSlice);
        for (int c = 0; c < channels_; ++c)
            banks_[static_cast<std::size_t>(c)].process(fed_to_, sound.between(c, fed_to_, end));
        fed_to_ = end;
        while (take_hop())
            judge_hop();
    }
    // A hop's phase belongs to its middle.
    const Seconds since = duration(fed_to_ - heard_to_, rate_) + 0.5 * hop_;
    const double sd = tracker_.sd(since).value();
    const double stray = std::sqrt(stray_) / std::max(lag_ * hop_, 0.67 * memory()).count();
    sd_ = interval(pitch(), pitch() + Hertz{std::hypot(sd, stray)});
}

bool ToneFollower::take_hop() {
    if (banks_.front().blocks() == 0) return false;
    const auto frames = static_cast<double>(banks_.front().block_frames());
    const std::int64_t h = hop_count_++;
    Hop& hop = at(h);
    hop = {};
    hop.joined = join_next_;
    join_next_ = true;
    double total = 0.0;
    for (int c = 0; c < channels_; ++c) {
        PartialBank& bank = banks_[static_cast<std::size_t>(c)];
        for (int k = 0; k <= partials_; ++k) {
            const std::complex<float> sum = bank.series(k).front();
            raw(c, k, h) = sum;
            const double amplitude = static_cast<double>(std::abs(sum)) / frames;
            if (k > 0) {
                hop.power += 2.0 * amplitude * amplitude;
            } else {
                total -= amplitude * amplitude;
            }
        }
        total += static_cast<double>(bank.energy().front()) / frames;
        heard_to_ = bank.block_first(1);
        bank.keep_newest(bank.blocks() - 1);
    }
    hop.to = heard_to_;
    remove_leaks(h, (tracker_.pitch() - tuned_).value());
    hop.residual = std::max(0.0, total - hop.power) / channels_;
    hop.power /= channels_;
    hop.level_db = decibels(2.0 * hop.power);
    hop.kept_db = decibels(2.0 * kept_power(h));
    return true;
}

// Takes out of the hop's sums what the partials leak into each other; `offset`: of the tone from
// the bank's pitch, Hz.
void ToneFollower::remove_leaks(std::int64_t hop, double offset) {
    at(hop).leaks_at = offset;
    const double frames = static_cast<double>(banks_.front().block_frames());
    const double middle = static_cast<double>(at(hop).to.value) - 0.5 * (frames + 1.0);
    for (int c = 0; c < channels_; ++c) {
        for (int k = 0; k <= partials_; ++k)
            hop_sums_[static_cast<std::size_t>(k)] = std::complex<double>(raw(c, k, hop));
        leaks_.remove(hop_sums_, middle, offset / rate_.value());
        for (int k = 1; k <= partials_; ++k)
            z(c * partials_ + k - 1, hop) =
                std::complex<float>(hop_sums_[static_cast<std::size_t>(k)]);
    }
}

void ToneFollower::judge_hop() {
    const std::int64_t h = hop_count_ - 1;
    Hop& hop = at(h);
    const bool settled = h >= steady_ + 6 && quiet_residual_ > 0.0;
    const bool hidden = settled && hop.residual > kKnock * quiet_residual_ &&
                        hop.residual > (kHarmlessResidual + 8.0 * misfit_) * hop.power;
    if (hidden) {
        disturbed_left_ = 1 + std::lround(kHeldAfterKnock / hop_);
        if (++disturbed_for_ * hop_ > kLongestKnock) quiet_residual_ = hop.residual;
    } else if (disturbed_left_ > 0 && --disturbed_left_ == 0) {
        disturbed_for_ = 0;
    }
    hop.heard = disturbed_left_ == 0 && !ending_;
    if (hop.heard) quiet_residual_ += (settled ? 0.08 : 0.5) * (hop.residual - quiet_residual_);
    hop.hz = tracker_.pitch().value();
    watch_level();
    if (h < kReplayAlways ||
        (h < kReplayUpTo &&
         static_cast<double>(h) >= kReplayGrowth * static_cast<double>(weighed_at_))) {
        settle_on();
    } else {
        const std::int64_t recent = std::max({oldest(), tuned_at_, steady_, h - kRecent});
        if (h % kCheckEvery == 0 && weights_are_stale(recent) && weigh(recent))
            tracker_.lose_phase(Cents{0.0});
        step(h, (tracker_.pitch() - tuned_).value(), true);
        if (disturbed_left_ == 0) coherent_ = spread() < kCoherent;
    }
    watch_pitch();
    if (h % 8 == 0) watch_tremulant();
    if (h % 8 == 4) watch_flutter();
}

Cents ToneFollower::spread() const { return interval(pitch(), pitch() + tracker_.spread()); }

FrameIndex ToneFollower::steady_from() const {
    if (hop_count_ == 0) return onset_;
    const std::int64_t back = hop_count_ - std::max(steady_, oldest());
    return at(hop_count_ - 1).to + -back * static_cast<std::int64_t>(banks_.front().block_frames());
}

void ToneFollower::list_lines(std::vector<SpectralLine>& lines) const {
    lines.clear();
    if (hop_count_ == 0) return;
    const double frames = hop_.count() * rate_.value();
    for (int k = 1; k <= partials_ && lines.size() < lines.capacity(); ++k) {
        double amplitude = 0.0;
        for (int c = 0; c < channels_; ++c) {
            const int row = c * partials_ + k - 1;
            const std::complex<float> now = z(row, hop_count_ - 1);
            amplitude =
                std::max(amplitude, std::min(2.0 * static_cast<double>(std::abs(now)) / frames,
                                             amplitude_[static_cast<std::size_t>(row)]));
        }
        lines.push_back({k * pitch().value(), amplitude, 1.0});
    }
}

// The mean over the last quarter second, so that a tremulant doesn't retune the bank.
Hertz ToneFollower::recent_pitch() const {
    const auto back = std::max<std::int64_t>(1, std::lround(0.25 / hop_.count()));
    const std::int64_t from = std::max({oldest(), std::int64_t{0}, hop_count_ - back});
    if (from >= hop_count_) return pitch();
    double sum = 0.0;
    for (std::int64_t h = from; h < hop_count_; ++h)
        sum += at(h).hz;
    return Hertz{sum / static_cast<double>(hop_count_ - from)};
}

bool ToneFollower::well_tuned() const {
    return refined_ && std::abs(interval(tuned_, pitch()).value()) < kRefineAt.value() * 3.0;
}

Decibels ToneFollower::snr() const { return Decibels{decibels(snr_)}; }

Partials ToneFollower::partials() const {
    Partials out;
    for (int k = 1; k <= partials_ && out.count < kMostPartials; ++k) {
        double amplitude = 0.0;
        for (int c = 0; c < channels_; ++c) {
            const auto row = static_cast<std::size_t>(c * partials_ + k - 1);
            if (stands_[row]) amplitude = std::max(amplitude, amplitude_[row]);
        }
        if (amplitude > 0.0) out.list[out.count++] = {k, Decibels{decibels(amplitude * amplitude)}};
    }
    return out;
}

std::complex<float> ToneFollower::phasor(int k, Hertz hz) const {
    if (hop_count_ == 0 || k > partials_) return {};
    int row = k - 1;
    for (int c = 1; c < channels_; ++c)
        if (amplitude_[static_cast<std::size_t>(c * partials_ + k - 1)] >
            amplitude_[static_cast<std::size_t>(row)])
            row = c * partials_ + k - 1;
    const double frames = hop_.count() * rate_.value();
    const double middle = static_cast<double>(heard_to_.value) - 0.5 * frames;
    const double cycles = k * middle * ((tuned_ - hz).value() / rate_.value());
    const auto turn = std::polar(2.0 / frames, kTurn * (cycles - std::floor(cycles)));
    return std::complex<float>(std::complex<double>(z(row, hop_count_ - 1)) * turn);
}

}  // namespace rankwright::listening

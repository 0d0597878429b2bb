#include "listening/tone_finder.h"

#include "listening/arithmetic.h"
#include "listening/reading.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

namespace rankwright::listening {

namespace {

constexpr double kLeastStrength = 0.6;
constexpr double kShareToBegin = 0.35;
constexpr double kOnsetRise = 4.0;   // 6 dB
constexpr double kMainsRise = 30.0;  // for a note that hum would make
constexpr Hertz kMainsBelow{125.0};
constexpr double kWorthSeeing = 0.05;  // of the loudest partial's power
constexpr Seconds kLookedBack{1.2};
constexpr Seconds kLongestStretch{0.1};
constexpr Seconds kHeardAtLeast{0.4};  // before a note without a beginning counts
constexpr double kClearOfNoise = 8.0;  // its power over all else
constexpr double kHolds_db = 1.2;      // a decay of less than 17 s would pass
constexpr Seconds kHoldsFor{0.35};
constexpr std::size_t kMostStanding = 64;
constexpr int kLearnedAfter = 6;  // looks
constexpr int kForgottenAfter = 40;
// So long after its end the last tone may ring on, which is nothing new …
constexpr Seconds kRings{1.0};
// … and a pipe that is tapped, or that the room nearly silences, comes back without a beginning: it
// isn't to be learned as background.
constexpr Seconds kComesBack{10.0};

}  // namespace

bool is_at_mains(Hertz pitch) {
    const double hz = pitch.value();
    for (const double mains : {50.0, 60.0}) {
        const double multiple = std::round(hz / mains);
        if (multiple < 1.0 || multiple > 20.0) continue;
        // The grid's own frequency strays by 0.2 Hz at the utmost.
        if (std::abs(hz - multiple * mains) < 0.2 * multiple + 0.3) return true;
    }
    return false;
}

ToneFinder::ToneFinder(SampleRate rate, int channels, std::vector<SpectralLine> never_new)
    : rate_(rate), channels_(channels), never_new_(std::move(never_new)) {
    struct Size {
        double seconds;
        int every;
    };
    for (const Size size : {Size{0.045, 2}, Size{0.1, 4}, Size{0.2, 4}, Size{0.45, 8}}) {
        CoarsePitch coarse({.rate = rate, .window = Seconds{size.seconds}});
        windows_.push_back({std::move(coarse), Seconds{size.seconds}, size.every,
                            Hertz{4.5 / size.seconds}, std::nullopt});
    }
    standing_.reserve(kMostStanding);
    background_.reserve(kMostStanding);
    ignored_.reserve(kMostStanding + never_new_.size() + kMostPartials);
}

void ToneFinder::reset() {
    candidate_.reset();
    sounding_.reset();
    for (Window& window : windows_)
        window.last.reset();
}

void ToneFinder::look(const SoundHistory& sound, const Task& task) {
    candidate_.reset();
    ignored_.assign(background_.begin(), background_.end());
    ignored_.insert(ignored_.end(), never_new_.begin(), never_new_.end());
    if (task.last_ended <= kRings)
        for (const SpectralLine& line : task.last)
            if (ignored_.size() < ignored_.capacity()) ignored_.push_back(line);
    for (std::size_t i = 0; i < windows_.size(); ++i) {
        Window& window = windows_[i];
        if (task.step % window.every != 0 || (task.stands && i % 2 == 0)) continue;
        look_through(window, sound, task);
        if (i + 1 == windows_.size() && task.idle) learn_background(window.coarse, task);
    }
}

std::optional<CoarsePitchReading> ToneFinder::best_of_channels(Window& window,
                                                               const SoundHistory& sound,
                                                               std::optional<Hertz> near) {
    std::optional<CoarsePitchReading> best;
    for (int c = channels_ - 1; c >= 0; --c) {
        const auto newest = sound.newest(c, window.coarse.frames());
        if (newest.empty()) return std::nullopt;
        window.coarse.look(newest, ignored_);
        auto found = window.coarse.find();
        // The awaited octave only where the lines leave both open: a note below which it would
        // explain much, as a harmonic flute's speech brings, or a lower one as good.
        if (near && found)
            if (const auto awaited = window.coarse.find(near);
                awaited &&
                awaited->strength > (awaited->pitch > found->pitch ? 0.7 : 0.97) * found->strength)
                found = awaited;
        if (found && (!best || found->level * found->share > best->level * best->share)) {
            best = found;
            channel_ = c;
        }
    }
    return best;
}

void ToneFinder::look_through(Window& window, const SoundHistory& sound, const Task& task) {
    // Of a tone that is known already, the octave is no question.
    const bool awaits_known =
        task.known && task.awaited &&
        std::abs(interval(*task.known, *task.awaited).value()) < kSameNote.value();
    const auto found = best_of_channels(window, sound, awaits_known ? std::nullopt : task.awaited);
    const auto before = window.last;
    window.last = found;
    const bool longest = &window == &windows_.back() || &window == &windows_[windows_.size() - 2];
    if (longest) sounding_ = found;
    if (!found || !before) return;
    if (found->strength < kLeastStrength || found->share < kShareToBegin) return;
    if (task.known && std::abs(interval(*task.known, found->pitch).value()) < kSameNote.value())
        return;
    const double bin = 1.0 / window.length.count();
    const double apart = std::abs((found->pitch - before->pitch).value());
    if (apart > std::max(0.015 * found->pitch.value(), 0.3 * bin)) return;
    weigh_novelty(window, sound, *found);
}

// Power of the strongest partials of `pitch` in one stretch: Goertzel's recurrence (Amer. Math.
// Monthly 65, 1958, p. 34), all partials side by side.
ToneFinder::Powers ToneFinder::powers_of(const SoundHistory& sound, Hertz pitch, FrameIndex from,
                                         FrameIndex to) const {
    const auto samples = sound.between(channel_, from, to);
    std::array<double, kCompared> twice_cosine{};
    std::array<double, kCompared> last{};
    std::array<double, kCompared> before{};
    for (std::size_t i = 0; i < number_count_; ++i)
        twice_cosine[i] =
            2.0 * std::cos(2.0 * std::numbers::pi * numbers_[i] * pitch.value() / rate_.value());
    for (const float x : samples)
        for (std::size_t i = 0; i < kCompared; ++i) {
            const double now = static_cast<double>(x) + twice_cosine[i] * last[i] - before[i];
            before[i] = last[i];
            last[i] = now;
        }
    Powers powers{};
    const auto n = static_cast<double>(samples.size());
    for (std::size_t i = 0; i < number_count_; ++i)
        powers[i] =
            4.0 / (n * n) *
            (last[i] * last[i] + before[i] * before[i] - twice_cosine[i] * last[i] * before[i]);
    return powers;
}

// The loudest few partials that stand in the window's spectrum.
void ToneFinder::choose_partials(const Window& window, double hz) {
    number_count_ = 0;
    std::array<double, kCompared> amplitude{};
    for (const SpectralLine& line : window.coarse.lines()) {
        const double k = std::round(line.hz / hz);
        if (k < 1.0 || std::abs(line.hz - k * hz) > 0.5 / window.length.count()) continue;
        std::size_t place = number_count_;
        if (number_count_ < kCompared)
            ++number_count_;
        else
            place = static_cast<std::size_t>(std::min_element(amplitude.begin(), amplitude.end()) -
                                             amplitude.begin());
        if (line.amplitude <= amplitude[place]) continue;
        amplitude[place] = line.amplitude;
        numbers_[place] = static_cast<int>(k);
    }
    if (number_count_ > 0) return;
    // The other channel's spectrum was the clear one.
    for (; number_count_ < kCompared && (number_count_ + 1.0) * hz < 0.45 * rate_.value();
         ++number_count_)
        numbers_[number_count_] = static_cast<int>(number_count_) + 1;
}

// Whether it was there before: its partials' powers now, against the stretches of the last second.
// One new partial is enough, so that an octave below the last note is seen to begin.
void ToneFinder::weigh_novelty(const Window& window, const SoundHistory& sound,
                               const CoarsePitchReading& reading) {
    const double hz = reading.pitch.value();
    choose_partials(window, hz);
    if (number_count_ == 0) return;

    const double length = std::min(0.5 * window.length.count(), kLongestStretch.count());
    const auto stretch = static_cast<std::int64_t>(length * rate_.value());
    const auto oldest =
        sound.end() + -static_cast<std::int64_t>(kLookedBack.count() * rate_.value());
    const auto held = sound.end() + -static_cast<std::int64_t>(kHoldsFor.count() * rate_.value());
    FrameIndex to = sound.end() + -stretch;
    FrameIndex onset = to;
    const Powers now = powers_of(sound, reading.pitch, to, sound.end());
    const double loudest = *std::max_element(now.begin(), now.end());
    double lowest = std::accumulate(now.begin(), now.end(), 0.0);
    double highest = lowest;
    bool began = false;
    const double rise =
        hz < kMainsBelow.value() && is_at_mains(reading.pitch) ? kMainsRise : kOnsetRise;
    // Close by every stretch, further back every third.
    for (std::int64_t back = 0; !began && to + -stretch >= std::max(oldest, sound.begin());
         to = to + -stretch * (++back > 4 ? 3 : 1)) {
        const Powers then = powers_of(sound, reading.pitch, to + -stretch, to);
        for (std::size_t i = 0; i < number_count_; ++i)
            began = began || (now[i] > rise * then[i] && now[i] > kWorthSeeing * loudest);
        if (began) break;
        onset = to + -stretch;
        if (to <= held) continue;
        const double all = std::accumulate(then.begin(), then.end(), 0.0);
        lowest = std::min(lowest, all);
        highest = std::max(highest, all);
    }
    ToneCandidate found{
        reading.pitch,           onset, reading.strength, reading.level, reading.partials,
        reading.octave_doubtful, began};
    if (!found.began) {
        const double total = mean_square(sound.newest(channel_, window.coarse.frames()));
        const double harmonic = 0.5 * reading.level;
        const bool clear = harmonic > kClearOfNoise * std::max(0.0, total - harmonic);
        const bool holds = 10.0 * std::log10(highest / std::max(lowest, 1e-30)) < kHolds_db;
        const bool long_enough = sound.end() - sound.begin() >
                                 static_cast<std::int64_t>(kHeardAtLeast.count() * rate_.value());
        if (!clear || !holds || !long_enough || is_at_mains(reading.pitch)) return;
    }
    if (!candidate_ || found.strength * std::sqrt(found.level) >
                           candidate_->strength * std::sqrt(candidate_->level))
        candidate_ = found;
}

// Lines that stand through several looks of the longest window while no tone sounds.
void ToneFinder::learn_background(const CoarsePitch& coarse, const Task& task) {
    constexpr double kMovedByATap = 0.003;  // five cents
    const double near = 0.6 / windows_.back().length.count();
    const auto of_last_tone = [&](const SpectralLine& line) {
        if (task.last_ended > kComesBack) return false;
        return std::any_of(task.last.begin(), task.last.end(), [&](const SpectralLine& own) {
            return std::abs(own.hz - line.hz) < std::max(near, kMovedByATap * own.hz);
        });
    };
    for (Standing& known : standing_)
        ++known.missed;
    for (const SpectralLine& line : coarse.lines()) {
        const auto known = std::find_if(standing_.begin(), standing_.end(), [&](const Standing& s) {
            return std::abs(s.line.hz - line.hz) < near;
        });
        if (known == standing_.end()) {
            if (standing_.size() < kMostStanding && !of_last_tone(line))
                standing_.push_back({line, 1, 0});
            continue;
        }
        known->missed = 0;
        ++known->looks;
        known->line.hz += 0.2 * (line.hz - known->line.hz);
        known->line.amplitude += 0.2 * (line.amplitude - known->line.amplitude);
        known->line.snr = line.snr;
    }
    std::erase_if(standing_, [](const Standing& s) {
        return s.missed > kForgottenAfter || (s.looks < kLearnedAfter && s.missed > 2);
    });
    background_.clear();
    for (const Standing& known : standing_)
        if (known.looks >= kLearnedAfter) background_.push_back(known.line);
}

bool ToneFinder::mains_hum() const {
    return std::any_of(background_.begin(), background_.end(),
                       [](const SpectralLine& line) { return is_at_mains(Hertz{line.hz}); });
}

std::span<const SpectralLine> ToneFinder::background() const { return background_; }

}  // namespace rankwright::listening

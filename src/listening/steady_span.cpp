#include "core/median.h"
#include "listening/coarse_pitch.h"
#include "listening/half_rate.h"
#include "listening/measure.h"
#include "listening/partial_bank.h"
#include "listening/settling.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr int kPartials = 8;
constexpr double kFrameSeconds = 0.06;
constexpr double kShortestSeconds = 0.25;
/// A standing pipe keeps its level to a few decibels; speech, release and reverberation don't.
constexpr double kLeastPower = 0.4;
/// Real pipes wander by less; speech and a moving sleeve by more. In noise a short stretch's pitch
/// is uncertain by itself, but hardly by more than the second.
constexpr double kWidestCents = 6.0;
constexpr double kWidestInNoise = 12.0;
/// A knock or a word over a pipe that goes on; measure_pipe leaves it out.
constexpr double kLongestDisturbance = 0.5;

/// Level and pitch of the tone in one stretch of a few blocks.
struct Frame {
    double power = 0.0;
    double cents = 0.0;  // from the bank's pitch
};

Frame look(const PartialBank& bank, std::size_t first, std::size_t count) {
    Frame frame;
    double turned = 0.0;
    double weights = 0.0;
    // Phase gained over half the stretch: as long as the note is right within a third of a semitone
    // it can't have gone round, and noise counts for least.
    const std::size_t lag = std::max<std::size_t>(1, count / 8);
    for (int k = 1; k <= bank.partials(); ++k) {
        const auto z = bank.series(k).subspan(first, count);
        std::complex<double> product{};
        double power = 0.0;
        for (std::size_t b = 0; b + lag < count; ++b)
            product += std::complex<double>(z[b + lag]) * std::conj(std::complex<double>(z[b]));
        for (const auto& value : z)
            power += static_cast<double>(std::norm(value));
        frame.power += power;
        const double weight = std::abs(product);
        turned += weight * k * std::arg(product);
        weights += weight * k * k;
    }
    if (weights > 0.0) {
        const double seconds = static_cast<double>(lag * bank.block_frames()) / bank.rate().value();
        const Hertz offset{turned / weights / (2.0 * std::numbers::pi * seconds)};
        frame.cents = interval(bank.pitch(), bank.pitch() + offset).value();
    }
    return frame;
}

/// A note heard in several looks, and where.
struct Note {
    Hertz pitch;
    std::size_t first = 0;
    std::size_t last = 0;  ///< one past
    double support = 0.0;
};

/// The note that stands longest, louder ones preferred a little: looks at windows all through the
/// samples and joins those that agree, over gaps of a word's length.
std::optional<Note> main_note(std::span<const float> samples, SampleRate rate,
                              std::optional<Hertz> near, std::span<const Hertz> beside) {
    constexpr Seconds kWindow{0.5};
    constexpr double kSameCents = 50.0;
    constexpr double kShareOfTone = 0.1;
    constexpr double kUnasked = 0.1;
    constexpr double kAllOfIt = 0.9997;
    constexpr double kNearlyAll = 0.97;
    const Seconds heard = duration(static_cast<std::int64_t>(samples.size()), rate);
    CoarsePitch coarse({.rate = rate, .window = std::min(kWindow, heard)});
    const std::size_t window = coarse.frames();
    if (window > samples.size()) return {};
    const std::vector<SpectralLine> ignored = ignored_lines(beside);
    std::vector<Note> notes;
    for (std::size_t first = 0; first + window <= samples.size(); first += window / 2) {
        coarse.look(samples.subspan(first, window), ignored);
        const auto found = coarse.find(near);
        if (!found || found->share < kShareOfTone) continue;
        double support = found->strength * found->share * std::pow(found->level, 0.25);
        // A note an octave above the one asked for explains itself better without the hint.
        if (near) {
            const auto freely = coarse.find();
            if (freely && std::abs(interval(freely->pitch, found->pitch).value()) > kSameCents) {
                // Nor is it a partial of a lower note, unless that is hardly more than it is: then
                // another tone filled the gaps.
                const bool lower = freely->pitch < found->pitch;
                if (freely->level > kAllOfIt * found->level &&
                    !(lower && found->level > kNearlyAll * freely->level))
                    continue;
                support *= kUnasked;
            }
        }
        const auto same = std::find_if(notes.rbegin(), notes.rend(), [&](const Note& note) {
            return first <= note.last + window &&
                   std::abs(interval(note.pitch, found->pitch).value()) < kSameCents;
        });
        if (same == notes.rend()) {
            notes.push_back({found->pitch, first, first + window, support});
        } else {
            same->last = first + window;
            same->support += support;
        }
    }
    const auto best =
        std::max_element(notes.begin(), notes.end(),
                         [](const Note& a, const Note& b) { return a.support < b.support; });
    if (best == notes.end()) return {};
    // It may begin and end inside the windows beside.
    best->first -= std::min(best->first, window / 2);
    best->last = std::min(samples.size(), best->last + window / 2);
    return *best;
}

/// Takes for standing what lies between standing stretches while the tone goes on: a disturbance.
void join_over_disturbances(std::vector<bool>& stands, const std::vector<Frame>& frames,
                            double least_power, std::size_t longest) {
    std::optional<std::size_t> stood;
    for (std::size_t i = 0; i < stands.size(); ++i) {
        if (frames[i].power < least_power) stood.reset();
        if (!stands[i]) continue;
        if (stood && i - *stood - 1 <= longest)
            std::fill(stands.begin() + static_cast<std::ptrdiff_t>(*stood),
                      stands.begin() + static_cast<std::ptrdiff_t>(i), true);
        stood = i;
    }
}

/// Which frames hold the tone steadily.
std::vector<bool> standing(const std::vector<Frame>& frames, Seconds frame) {
    double loudest = 0.0;
    for (const Frame& f : frames)
        loudest = std::max(loudest, f.power);
    if (loudest <= 0.0) return {};
    std::vector<double> powers;
    for (const Frame& f : frames)
        if (f.power > 0.1 * loudest) powers.push_back(f.power);
    const double usual = median(powers);
    std::vector<double> pitches;
    for (const Frame& f : frames)
        if (f.power > kLeastPower * usual) pitches.push_back(f.cents);
    const double middle = median(pitches);
    std::vector<double> spread;
    spread.reserve(pitches.size());
    for (const double cents : pitches)
        spread.push_back(std::abs(cents - middle));
    const double widest = std::clamp(6.0 * median(spread), kWidestCents, kWidestInNoise);
    std::vector<bool> stands;
    stands.reserve(frames.size());
    for (const Frame& f : frames)
        stands.push_back(f.power > kLeastPower * usual && f.power < usual / kLeastPower &&
                         std::abs(f.cents - middle) < widest);
    join_over_disturbances(stands, frames, kLeastPower * usual,
                           static_cast<std::size_t>(kLongestDisturbance / frame.count()));
    return stands;
}

struct Stretch {
    std::size_t first = 0, count = 0;  // blocks
};

/// Amplitude of all partials.
double amplitude(const PartialBank& bank, std::size_t block) {
    double power = 0.0;
    for (int k = 1; k <= bank.partials(); ++k)
        power += static_cast<double>(std::norm(bank.series(k)[block]));
    return std::sqrt(power);
}

/// Whether the tone grows out of little shortly before it stands, or as it begins to.
bool begins_at(const Stretch& stretch, const PartialBank& bank) {
    constexpr double kBefore_s = 0.3;
    constexpr double kBeginning_s = 0.02;
    constexpr double kGrown = 0.5;
    std::vector<double> levels;
    for (std::size_t b = stretch.first; b < stretch.first + stretch.count; ++b)
        levels.push_back(amplitude(bank, b));
    const double usual = median(levels);
    const double block_s = static_cast<double>(bank.block_frames()) / bank.rate().value();
    const auto blocks = [&](double s) { return static_cast<std::size_t>(std::ceil(s / block_s)); };
    const std::size_t from = stretch.first - std::min(stretch.first, blocks(kBefore_s));
    const std::size_t to = stretch.first + std::min(stretch.count, blocks(kBeginning_s));
    for (std::size_t b = from; b < to; ++b)
        if (amplitude(bank, b) < kGrown * usual) return true;
    return false;
}

}  // namespace

std::optional<SteadySpan> find_steady(std::span<const float> samples, SampleRate rate,
                                      std::optional<Hertz> near, std::span<const Hertz> beside) {
    if (rate >= kHalvedFrom) {
        const HalvedSound half = half_rate(samples);
        const auto found = find_steady(half.samples, SampleRate{0.5 * rate.value()}, near, beside);
        if (!found) return {};
        return SteadySpan{half.frame_of(found->first), 2 * found->count, found->unsettled};
    }
    const std::optional<Note> note = main_note(samples, rate, near, beside);
    if (!note) return {};
    const std::span<const float> heard = samples.subspan(note->first, note->last - note->first);
    const std::size_t block = whole_period_block(rate, note->pitch, PartialBank::kBlock);
    PartialBank bank(rate, kPartials, heard.size() / block + 1);
    bank.tune(note->pitch, kPartials, block);
    bank.process(FrameIndex{0}, heard);
    const auto blocks = std::max<std::size_t>(
        4, static_cast<std::size_t>(kFrameSeconds * rate.value() / static_cast<double>(block)));
    std::vector<Frame> frames;
    for (std::size_t b = 0; b + blocks <= bank.blocks(); b += blocks)
        frames.push_back(look(bank, b, blocks));
    const std::size_t frame = blocks * block;
    const std::vector<bool> stands =
        standing(frames, duration(static_cast<std::int64_t>(frame), rate));
    Stretch best;
    for (std::size_t i = 0, count = 0; i < stands.size(); ++i) {
        count = stands[i] ? count + 1 : 0;
        if (count * blocks > best.count) best = {(i + 1 - count) * blocks, count * blocks};
    }
    if (static_cast<double>(best.count * block) < kShortestSeconds * rate.value()) return {};
    // While the pitch still finds its place the tone doesn't stand, however loud it is.
    const Settling settles = settling(bank, best.first, best.first + best.count,
                                      begins_at(best, bank), Seconds{kShortestSeconds});
    const auto speech =
        static_cast<std::size_t>(std::llround(settles.after.count() * rate.value()));
    return SteadySpan{note->first + best.first * block + speech, best.count * block - speech,
                      settles.moves};
}

}  // namespace rankwright::listening

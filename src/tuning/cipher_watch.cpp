#include "tuning/cipher_watch.h"

#include "core/median.h"
#include "listening/line_level.h"
#include "listening/measure.h"
#include "listening/reading.h"
#include "listening/tone_removal.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace rankwright::tuning {

namespace {

constexpr int kPartials = 24;
constexpr double kWeak_db = 20.0, kSoft_db = 25.0, kAbsent_db = 35.0;
constexpr double kNearlyAsLoud_db = 15.0;
constexpr Seconds kWindow{1.0}, kLeastOwn{0.2};

/// What nearly all of them exceed.
double lower_quartile(std::vector<double> values) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 4);
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

}  // namespace

CipherWatch::CipherWatch(const HeardTone& tone, const SurveySound& sound) : sound_(sound) {
    // One that never ended is looked for as soon as a key would have been let go.
    constexpr Seconds kHeld{1.5};
    from_ = std::min(tone.left, tone.stood + sound.frames(kHeld));
    const FrameIndex own_to = std::min(tone.to, tone.stood + sound.frames(kWindow));
    if (own_to < tone.stood + sound.frames(kLeastOwn)) return;
    const std::vector<float> own = sound.cut(0, tone.stood, own_to);
    std::vector<Line> all;
    for (int k = 1; k <= kPartials && k * tone.pitch.value() < 0.45 * sound.rate.value(); ++k) {
        const Hertz hz = k * tone.pitch;
        all.push_back({k, hz, listening::line_level(own, sound.rate, hz).value()});
    }
    double loudest = -200.0;
    for (const Line& line : all)
        loudest = std::max(loudest, line.level_db);
    // Lines that don't carry the tone are the room's noise, which always stands.
    if (loudest < tone.level.value() - kWeak_db) return;
    const auto common = [&](double absent_db) {
        int times = 0;
        for (const Line& line : all)
            if (line.level_db > loudest - absent_db) times = std::gcd(times, line.number);
        return times;
    };
    // Odd partials may be soft; that two in three and more are is no pipe's way.
    const int few = common(kSoft_db);
    times_ = few > 2 ? few : common(kAbsent_db);
    for (const Line& line : all)
        if (line.level_db > loudest - kWeak_db) lines_.push_back(line);
}

bool CipherWatch::sounds_on() const {
    if (lines_.empty()) return false;
    constexpr int kLooks = 4;
    constexpr int kFewest = 2;
    constexpr Seconds kApart{2.2};
    int looks = 0;
    for (int look = 1; look <= kLooks; ++look, ++looks) {
        const FrameIndex at = from_ + look * sound_.frames(kApart);
        if (at.value + sound_.frames(kWindow) > sound_.frames()) break;
        if (!stands(at)) return false;
    }
    return looks >= kFewest;
}

bool CipherWatch::stands(FrameIndex at) const {
    const std::vector<float> later = sound_.cut(0, at, at + sound_.frames(kWindow));
    std::size_t standing = 0;
    for (const Line& line : lines_)
        if (listening::line_level(later, sound_.rate, line.hz).value() >
            line.level_db - kNearlyAsLoud_db)
            ++standing;
    return standing >= std::min<std::size_t>(2, lines_.size()) && 2 * standing > lines_.size();
}

bool measure_lasting(HeardTone& tone, const SurveySound& sound, FrameIndex from) {
    constexpr std::size_t kFewest = 5;
    constexpr std::int64_t kMost = 15;
    constexpr Seconds kLook{1.8};
    constexpr double kOwn_cents = 15.0;
    const std::int64_t look = sound.frames(kLook);
    const std::int64_t looks = (FrameIndex{sound.frames()} - from) / look;
    const std::int64_t step = std::max<std::int64_t>(1, looks / kMost);
    std::vector<double> cents, sd;
    for (std::int64_t i = 0; i < looks; i += step) {
        const FrameIndex at = from + i * look;
        const auto reading = listening::measure_pipe(sound.cut(0, at, at + look), sound.rate,
                                                     tone.pitch, sound.taken_out);
        if (!reading || reading->cents_sd().value() > kOwn_cents) continue;
        const double off = interval(tone.pitch, reading->pitch).value();
        if (std::abs(off) > kOwn_cents) continue;
        cents.push_back(off);
        sd.push_back(reading->cents_sd().value());
    }
    if (cents.size() < kFewest) return false;
    const double middle = median(cents);
    const auto count = static_cast<double>(cents.size());
    for (double& off : cents)
        off = std::abs(off - middle);
    // Standard error of a median of normal scatter; σ by the median absolute deviation.
    const double scatter = 1.2533 * 1.4826 * median(std::move(cents)) / std::sqrt(count);
    tone.pitch = tone.about = transpose(tone.pitch, Cents{middle});
    tone.uncertainty = Cents{std::hypot(scatter, median(std::move(sd)) / std::sqrt(count))};
    return true;
}

namespace {

/// How loud lines are in the lower quartile of pieces of a sound, whatever else sounds there.
class StandingLines {
  public:
    static constexpr Seconds kPiece{0.5};

    StandingLines(const SurveySound& sound, FrameIndex from) : rate_(sound.rate) {
        constexpr std::size_t kMost = 24;
        const FrameIndex end{sound.frames()};
        const std::int64_t piece = sound.frames(kPiece);
        pieces_ = static_cast<std::size_t>(std::max<std::int64_t>(0, end - from) / piece);
        const std::size_t step = std::max<std::size_t>(1, pieces_ / kMost);
        for (std::size_t i = 0; i < pieces_; i += step) {
            const FrameIndex at = from + static_cast<std::int64_t>(i) * piece;
            taken_.push_back(sound.cut(0, at, at + piece));
        }
    }
    std::size_t pieces() const { return pieces_; }
    double level_db(Hertz line) const {
        std::vector<double> levels;
        for (const std::vector<float>& piece : taken_)
            levels.push_back(listening::line_level(piece, rate_, line).value());
        return lower_quartile(std::move(levels));
    }

  private:
    SampleRate rate_;
    std::size_t pieces_ = 0;
    std::vector<std::vector<float>> taken_;
};

}  // namespace

std::vector<Hertz> standing_lines(const HeardTone& tone, const SurveySound& sound,
                                  FrameIndex from) {
    constexpr std::size_t kFewest = 6;
    constexpr Hertz kBeside{10.0};  // no less: pieces so short part no nearer ones
    constexpr double kStands_db = 6.0;
    const StandingLines standing(sound, from);
    std::vector<Hertz> lines;
    if (standing.pieces() < kFewest) {
        for (const listening::PartialLevel& partial : tone.partials)
            lines.push_back(partial.number * tone.pitch);
        return lines;
    }
    for (int k = 1; k <= static_cast<int>(listening::kMostPartials); ++k) {
        const Hertz line = k * tone.pitch;
        if (line.value() > 0.45 * sound.rate.value()) break;
        const double beside =
            std::max(standing.level_db(line - kBeside), standing.level_db(line + kBeside));
        if (standing.level_db(line) > beside + kStands_db) lines.push_back(line);
    }
    return lines;
}

FrameIndex stand_since(std::span<const Hertz> lines, const SurveySound& sound, FrameIndex from) {
    constexpr double kSofter_db = 10.0;
    const StandingLines standing(sound, from);
    if (lines.empty() || standing.pieces() == 0) return from;
    std::vector<double> usual;
    for (const Hertz line : lines)
        usual.push_back(standing.level_db(line));
    const std::int64_t piece = sound.frames(StandingLines::kPiece);
    const auto most_stand = [&](FrameIndex at) {
        const std::vector<float> before = sound.cut(0, at, at + piece);
        std::size_t standing_then = 0;
        for (std::size_t i = 0; i < lines.size(); ++i)
            if (listening::line_level(before, sound.rate, lines[i]).value() > usual[i] - kSofter_db)
                ++standing_then;
        return 2 * standing_then > lines.size();
    };
    // Another's partial may cancel one for a moment.
    constexpr int kMostGaps = 2;
    FrameIndex since = from, at = from;
    for (int gaps = 0; at.value > 0 && gaps <= kMostGaps;) {
        at = FrameIndex{std::max<std::int64_t>(0, at.value - piece)};
        gaps = most_stand(at) ? 0 : gaps + 1;
        if (gaps == 0) since = at;
    }
    return since;
}

std::vector<float> without_lines(const SurveySound& sound, FrameIndex from,
                                 std::span<const Hertz> lines) {
    const auto width = static_cast<std::size_t>(sound.channels);
    const FrameIndex end{sound.frames()};
    std::vector<float> rest(static_cast<std::size_t>(end - from) * width);
    for (std::size_t c = 0; c < width; ++c) {
        std::vector<float> one = sound.cut(c, from, end);
        // What the first pass leaves, the tone's own wander, the second finds.
        listening::remove_lines(one, sound.rate, lines);
        listening::remove_lines(one, sound.rate, lines);
        for (std::size_t i = 0; i < one.size(); ++i)
            rest[i * width + c] = one[i];
    }
    return rest;
}

}  // namespace rankwright::tuning

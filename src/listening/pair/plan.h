// Which lines of the spectrum say how a pair beats, and the bands around them.
#pragma once

#include "listening/pair/bands.h"
#include "listening/pair/pair.h"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Which lines to use.
struct PairPlan {
    struct Line {
        int reference_partial = 0;
        int pipe_partial = 0;
        double hz = 0.0;
        double floor = 0.0;        ///< variance of a white sample as dense as the noise here
        double information = 0.0;  ///< on the pitch, relative
    };
    /// Mean square of a phasor that is just heard there in so many samples.
    static double heard_from(const Line& line, std::size_t samples);
    std::vector<Line> lines;    ///< by frequency
    std::vector<Line> unheard;  ///< those that don't stand out of the noise
    double spacing_hz = 0.0;    ///< between neighbouring lines of the two together
    double reach_hz = 0.0;      ///< beats are looked for up to this
};

/// The lowest lines end above so many meetings: there a flue still shows beside a reed.
inline constexpr double kLowestMeetings = 4.5;

/// So many of the lowest meetings are used whatever the others tell.
inline constexpr std::size_t kLowMeetings = 4;
/// Of the lines' spacing, the furthest tone on either side of a band's centre, so that the band's
/// filter still keeps the neighbours out.
inline constexpr double kReachOfSpacing = 0.27;

/// Empty lines where nothing stands out of the noise.
PairPlan plan_pair(std::span<const float> samples, const PairRequest& request);

/// On the pitch, relative, of a line's tone whose power over the span is so many times the noise's.
double information(const PairPlan::Line& line, double snr);

/// The most informative lines, each as the band that holds both tones for beats from `low` to
/// `high` a second (at the first meeting); those whose band would reach a neighbour are left out.
std::vector<PairPlan::Line> most_informative(std::vector<PairPlan::Line> lines, std::size_t count);
/// The same, but the lowest meetings always come first: there a flue still shows beside a reed.
std::vector<PairPlan::Line> telling_lines(const std::vector<PairPlan::Line>& lines,
                                          std::size_t count);
/// Those of `lines` that can be cut so, cut out of `samples`.
std::vector<PairBand> cut_bands(std::span<const float> samples, const PairRequest& request,
                                const PairPlan& plan, const std::vector<PairPlan::Line>& lines,
                                double low, double high);
/// The most telling of the plan's lines, at most `count`, cut wide enough for two that beat `beat`
/// times a second and wander.
std::vector<PairBand> bands_of_two(std::span<const float> samples, const PairRequest& request,
                                   const PairPlan& plan, std::size_t count, double beat);
std::optional<PairLine> band_of(const PairPlan::Line& line, const PairRequest& request,
                                const PairPlan& plan, double low, double high);

}  // namespace rankwright::listening

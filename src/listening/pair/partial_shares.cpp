#include "listening/pair/partial_shares.h"

#include <cstddef>

namespace rankwright::listening {

namespace {

/// Turns of the fundamental by which a first partial's slope strays over a span; that of partial k
/// by 1/√k of it (recorded pipes of 46 to 740 Hz, spans of 0.5 to 3 s).
constexpr double kPartialStray = 0.025;
constexpr double kAsPartials = 2.0;
constexpr int kShareRounds = 12;
constexpr double kCountsAlone = 0.95;  // sum of the squares of shares

}  // namespace

void share_out(std::span<const PartialSlope> slopes, double span_s, PartialShares& result) {
    result.shares.resize(slopes.size());
    const double usual = kPartialStray * kPartialStray / (span_s * span_s);
    double stray = usual;  // variance of a first partial's deviation
    double common = 0.0, told = 0.0;
    const auto own = [&](const PartialSlope& s) { return stray / s.number; };
    for (int round = 0; round <= kShareRounds; ++round) {
        told = common = 0.0;
        for (const PartialSlope& s : slopes) {
            const double tells = 1.0 / (own(s) + s.variance);
            told += tells;
            common += tells * s.hz;
        }
        common /= told;
        if (round == kShareRounds) break;
        double sum = kAsPartials * usual;
        for (const PartialSlope& s : slopes) {
            const double kept = own(s) / (own(s) + s.variance);
            const double deviation = kept * (s.hz - common);
            sum += s.number * (deviation * deviation + kept * s.variance);
        }
        stray = sum / (kAsPartials + static_cast<double>(slopes.size()));
    }
    double given = 0.0;  // weight of what the partials' own slopes don't tell
    for (const PartialSlope& s : slopes)
        given += s.weight * s.variance / (own(s) + s.variance);
    result.mean_hz = result.lent = result.undefined = 0.0;
    for (std::size_t i = 0; i < slopes.size(); ++i) {
        const PartialSlope& s = slopes[i];
        const double kept = own(s) / (own(s) + s.variance);
        result.shares[i] = s.weight * kept + given / (told * (own(s) + s.variance));
        result.mean_hz += result.shares[i] * s.hz;
        const double otherwise = result.shares[i] - s.weight;
        result.lent += otherwise * otherwise * own(s);
        result.undefined += s.weight * s.weight * own(s);
    }
    double squares = 0.0, differ = 0.0;
    for (std::size_t i = 0; i < slopes.size(); ++i) {
        const double share = result.shares[i], away = slopes[i].hz - result.mean_hz;
        squares += share * share;
        differ += share * share * away * away;
    }
    // Of one that counts alone nothing differs.
    result.scatter = squares < kCountsAlone ? differ / (1.0 - squares) : 0.0;
}

}  // namespace rankwright::listening

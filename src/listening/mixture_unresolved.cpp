#include "listening/mixture_unresolved.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

// The lowest frequency where partials of both meet; false where none do.
bool lowest_meeting(const MixtureReach& one, const MixtureReach& other, double& hz) {
    constexpr double kNear = 0.001;
    for (int k = 1; k * one.nominal_hz < one.highest_hz; ++k)
        for (int m = 1; m * other.nominal_hz < other.highest_hz; ++m) {
            const double a = k * one.nominal_hz, b = m * other.nominal_hz;
            if (std::abs(a - b) > kNear * a) continue;
            hz = a;
            return true;
        }
    return false;
}

}  // namespace

void name_unresolved(std::span<MixturePipeReading> readings, std::span<const MixtureReach> reach,
                     std::span<const double> strongest_hz, double seconds) {
    constexpr double kFewestSpans = 3.0;  // beats that need longer than this aren't told apart
    for (std::size_t i = 0; i < reach.size(); ++i) {
        MixturePipeReading& r = readings[i];
        for (std::size_t j = 0; j < reach.size(); ++j) {
            double hz = 0.0;
            if (i == j || !lowest_meeting(reach[i], reach[j], hz) ||
                readings[j].presence == Presence::silent)
                continue;
            if (r.presence == Presence::cannot_tell) {
                r.unresolved_with.push_back(j);
            } else if (r.presence == Presence::sounding &&
                       readings[j].presence == Presence::sounding && r.cents && readings[j].cents) {
                // The highest meeting where both are still strong.
                const double top = std::min(strongest_hz[i], strongest_hz[j]);
                const double high = hz * std::max(1.0, std::floor(top / hz));
                const double apart = std::abs(r.cents->value() - readings[j].cents->value());
                const double needed = 1.0 / (kCent * high * std::max(apart, 1e-3));
                if (needed < kFewestSpans * seconds) continue;
                r.unresolved_with.push_back(j);
                r.to_part = Seconds{std::max(r.to_part ? r.to_part->count() : 0.0, needed)};
            }
        }
    }
}

}  // namespace rankwright::listening

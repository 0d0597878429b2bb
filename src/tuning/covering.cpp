#include "tuning/covering.h"

#include "core/multiple.h"
#include "listening/partial_power.h"

#include <algorithm>

namespace rankwright::tuning {

namespace {

bool covers(const HeardTone& lasting, Hertz pitch, double least_db) {
    constexpr Cents kCovered{60.0};
    const auto number = partial_near(lasting.pitch, pitch, kCovered);
    const listening::Partials& partials = lasting.partials;
    if (!number || partials.count == 0) return number.has_value();
    return std::any_of(partials.begin(), partials.end(), [&](const auto& one) {
        return one.number == *number && one.level.value() >= least_db;
    });
}

}  // namespace

bool covers(const HeardTone& lasting, Hertz pitch) {
    constexpr double kFaint_db = 40.0;
    double loudest = -200.0;
    for (const listening::PartialLevel& partial : lasting.partials)
        loudest = std::max(loudest, partial.level.value());
    return covers(lasting, pitch, loudest - kFaint_db);
}

bool hides_speech(const HeardTone& lasting, const HeardTone& tone) {
    constexpr double kFollowed_db = 30.0;  // as far under a pipe its way in is read
    constexpr double kMost = 0.5;          // of its power
    const auto hides = [&](Hertz pitch, double level_db) {
        return covers(lasting, pitch, level_db - kFollowed_db);
    };
    if (tone.partials.count == 0) return hides(tone.pitch, tone.level.value());
    double all = 0.0, hidden = 0.0;
    for (const listening::PartialLevel& partial : tone.partials) {
        const double its_power = power(partial);
        all += its_power;
        if (hides(partial.number * tone.pitch, partial.level.value())) hidden += its_power;
    }
    return hidden > kMost * all;
}

}  // namespace rankwright::tuning

#include "organ/pitch_of_day.h"

#include "core/median.h"
#include "core/text.h"
#include "organ/air.h"

#include <algorithm>
#include <cmath>

namespace rankwright::organ {

namespace {

constexpr double kKelvinOfThermometers = 1.0;  // a good glass one, well placed: from memory

struct Deviation {
    std::size_t reading;
    double cents;
    double sd;
};

constexpr double kLeastScatter = 0.5;  // cents: no rank stands better for long (from memory)

// The spread that readings near the middle show: 1.4826 × MAD equals the standard deviation of
// normal scatter, with the correction for few readings of P. J. Rousseeuw & A. M. Leroy, Robust
// Regression and Outlier Detection (1987), p. 202.
double typical_spread(const std::vector<Deviation>& deviations, double middle) {
    const auto others = static_cast<double>(std::max<std::size_t>(deviations.size(), 2) - 1);
    std::vector<double> off;
    for (const Deviation& d : deviations)
        off.push_back(std::abs(d.cents - middle));
    return std::max(kLeastScatter, 1.4826 * (1.0 + 5.0 / others) * median(off));
}

// The temperature at which flues stand `shift` from where they stand at `home`.
Celsius temperature_for(Celsius home, Cents shift) {
    constexpr double kZeroCelsius = 273.15;
    return Celsius{(home.value() + kZeroCelsius) * std::exp2(shift.value() / 600.0) - kZeroCelsius};
}

std::string side_of(Cents cents) {
    return text_of(
        {decimal(std::abs(cents.value()), 1), cents < Cents{0.0} ? " cents flat" : " cents sharp"});
}

void explain(const Instrument& instrument, const Day& air, PitchOfDay& day) {
    const Celsius thermometer = *air.temperature;
    day.expected = -rise_to_home(instrument, air, thermometer);
    day.as_at = temperature_for(instrument.at, day.from_home);
    const double off = (day.from_home - *day.expected).value();
    const double slope = flue_shift(thermometer, thermometer + Celsius{1.0}).value();
    const double doubt = std::hypot(kKelvinOfThermometers * slope, day.uncertainty.value());
    day.contradicted = std::abs(off) > 2.0 * doubt;
    const std::string home =
        text_of({"A ", decimal(instrument.a.value(), 1), " at ", celsius_text(instrument.at)});
    day.explanation =
        text_of({"At ", celsius_text(thermometer), " the flues should stand ",
                 side_of(*day.expected), " of ", home, "; they stand ", side_of(day.from_home)});
    day.explanation +=
        day.contradicted
            ? text_of(
                  {", as at ", celsius_text(*day.as_at),
                   ": hold the thermometer at pipe level and wait, or the file's pitch is old."})
            : std::string(", as the thermometer explains.");
}

}  // namespace

std::optional<PitchOfDay> pitch_of_day(const Instrument& instrument,
                                       std::span<const ReferenceReading> readings, const Day& air) {
    std::vector<Deviation> flues;
    PitchOfDay day;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const ReferenceReading& one = readings[i];
        if (one.pipe.make.reed()) {
            day.astray.push_back(i);
            continue;
        }
        const Cents off = interval(target(instrument, one.pipe, {}), one.heard);
        flues.push_back({i, off.value(), one.uncertainty.value()});
    }
    if (flues.empty()) return std::nullopt;
    std::vector<double> cents;
    for (const Deviation& d : flues)
        cents.push_back(d.cents);
    const double middle = median(cents);
    constexpr double kAstray = 2.5;  // Rousseeuw & Leroy, as above
    const double spread = typical_spread(flues, middle);
    double sum = 0.0, squares = 0.0, readings_variance = 0.0;
    std::size_t kept = 0;
    for (const Deviation& d : flues) {
        if (std::abs(d.cents - middle) > kAstray * std::hypot(spread, d.sd)) {
            day.astray.push_back(d.reading);
            continue;
        }
        sum += d.cents - middle;
        squares += (d.cents - middle) * (d.cents - middle);
        readings_variance += d.sd * d.sd;
        ++kept;
    }
    const auto n = static_cast<double>(kept);
    const double mean = sum / n;
    const double squares_about_mean = std::max(0.0, squares - n * mean * mean);
    // The mean of n readings errs as Student's t does: with this standard deviation from four
    // readings up. Fewer can't tell their scatter; at least the usual one is taken for it.
    const double scatter =
        kept > 3   ? squares_about_mean / (n - 3.0)
        : kept > 1 ? std::max(squares_about_mean / (n - 1.0), kLeastScatter * kLeastScatter)
                   : kLeastScatter * kLeastScatter;
    std::sort(day.astray.begin(), day.astray.end());
    day.from_home = Cents{middle + mean};
    day.a = transpose(instrument.a, day.from_home);
    day.uncertainty = Cents{std::sqrt(std::max(scatter, readings_variance / n) / n)};
    if (air.temperature) explain(instrument, air, day);
    return day;
}

PitchOfDay pitch_as_given(const Instrument& instrument, Hertz a, const Day& air) {
    PitchOfDay day{a, Cents{0.0}, interval(instrument.a, a), {}, {}, {}, {}, false};
    if (air.temperature) explain(instrument, air, day);
    return day;
}

std::vector<std::string> thermometer_warnings(const Instrument& instrument, const Day& day) {
    std::vector<std::string> warnings;
    if (!day.temperature) return warnings;
    for (const Division& division : instrument.divisions) {
        const auto here = temperature_of(day, division.id);
        if (!here || std::abs((*here - *day.temperature).value()) <= kKelvinOfThermometers)
            continue;
        const Cents shift = flue_shift(*day.temperature, *here);
        warnings.push_back(
            text_of({division.name, " stands at ", celsius_text(*here), ", the reference at ",
                     celsius_text(*day.temperature), ": its flues read ", side_of(shift),
                     " until both are alike. Wait, or compensate."}));
    }
    return warnings;
}

void DriftFollower::heard(Seconds at, const PipeId& pipe, Cents from_target, Cents uncertainty) {
    for (const First& first : first_) {
        if (first.pipe != pipe) continue;
        const double doubt = std::hypot(first.uncertainty.value(), uncertainty.value());
        changes_.push_back({at, pipe, from_target - first.from_target, Cents{doubt}});
        return;
    }
    // A pipe that joins later starts from where the others say the reference is by then.
    first_.push_back({pipe, from_target - drift(), uncertainty});
}

void DriftFollower::forget(const PipeId& pipe) {
    std::erase_if(first_, [&](const First& one) { return one.pipe == pipe; });
    std::erase_if(changes_, [&](const Change& one) { return one.pipe == pipe; });
}

namespace {

double middle_or_lesser(std::vector<double>& values) {
    const auto lesser = [](double a, double b) { return std::abs(a) < std::abs(b); };
    return values.size() > 2 ? median(values)
                             : *std::min_element(values.begin(), values.end(), lesser);
}

}  // namespace

Cents DriftFollower::drift() const {
    constexpr Seconds kRecent = std::chrono::minutes(15);
    constexpr double kAKelvin = 3.0;
    constexpr std::size_t kOfEach = 3, kEnoughPipes = 2;
    // Of one change: a pipe wanders by some tenths of a cent each time it is heard (recorded
    // pipes).
    constexpr double kWanders = 0.4;
    // The drift is asked for a hundred times a visit: two standard errors come by chance.
    constexpr double kClearly = 2.5;
    if (changes_.empty()) return Cents{0.0};
    struct OfPipe {
        PipeId pipe;
        std::vector<double> changes, doubts;
    };
    std::vector<OfPipe> pipes;
    for (auto change = changes_.rbegin(); change != changes_.rend(); ++change) {
        const bool recent = changes_.back().at - change->at <= kRecent;
        if (!recent && pipes.size() >= kEnoughPipes) break;
        auto of = std::find_if(pipes.begin(), pipes.end(),
                               [&](const OfPipe& one) { return one.pipe == change->pipe; });
        if (of == pipes.end()) of = pipes.insert(of, {change->pipe, {}, {}});
        if (!of->changes.empty() && (!recent || of->changes.size() == kOfEach)) continue;
        of->changes.push_back(change->change.value());
        of->doubts.push_back(std::hypot(kWanders, change->uncertainty.value()));
    }
    // A pipe's changes are all from its first hearing, and share what that was off by; where it is
    // misheard, it may be so again and again.
    std::vector<double> changes, doubts;
    for (OfPipe& one : pipes) {
        changes.push_back(middle_or_lesser(one.changes));
        doubts.push_back(median(one.doubts));
    }
    const double drift = middle_or_lesser(changes);
    // The air moves all alike: of two that contradict each other one was moved or misread, and the
    // other tells it alone. A median errs by 1.25 times as much as a mean.
    const double of_one = median(doubts);
    const auto agreeing = std::count_if(changes.begin(), changes.end(), [&](double change) {
        return std::abs(change - drift) <= 3.0 * of_one;
    });
    const double doubt = 1.2533 * of_one / std::sqrt(static_cast<double>(std::max(agreeing, 1L)));
    const bool alone_too_far = agreeing <= 1 && std::abs(drift) > kAKelvin;
    return Cents{alone_too_far || std::abs(drift) <= kClearly * doubt ? 0.0 : drift};
}

}  // namespace rankwright::organ

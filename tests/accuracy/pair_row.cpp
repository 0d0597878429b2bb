#include "accuracy/pair_row.h"

#include "support/results_file.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

namespace rankwright::testing {

namespace {

/// A logarithmic axis.
struct Axis {
    double low, high, from, to;
    double at(double value) const {
        const double x = std::log(std::clamp(value, low, high) / low) / std::log(high / low);
        return from + x * (to - from);
    }
};

}  // namespace

PairRow::PairRow(const std::string& name)
    : name_(name), csv_(results_file("pair_" + name, "case,beat,heard,sd,under,error,bound")) {}

void PairRow::judge(const std::string& what, const PairCase& truth,
                    const listening::PairRequest& request, double bound) {
    judge(what, truth, request, listening::measure_pair(truth.samples, request), bound);
}

void PairRow::judge(const std::string& what, const PairCase& truth,
                    const listening::PairRequest& request,
                    const std::optional<listening::BeatReading>& reading, double bound) {
    ++cases_;
    if (!reading) {
        csv_ << what << ',' << truth.beat << ",,,,," << bound << '\n';
        return;
    }
    const double error = reading->beat.value() - truth.beat;
    const double cent = request.reference_partial * truth.reference_hz * std::numbers::ln2 / 1200.0;
    errors_.add(error, reading->beat_sd.value());
    sum_ += error;
    if (std::abs(error) <= std::max(0.05, 0.1 * cent)) ++within_;
    const bool right = (reading->beat.value() > 0.0) == (truth.beat > 0.0);
    points_.push_back({std::abs(truth.beat), std::abs(error), reading->beat_sd.value(),
                       reading->under.has_value(), !right});
    if (std::abs(truth.beat) > 0.1 * cent) {
        ++signed_;
        right_ += right ? 1 : 0;
        if (!reading->under) {
            ++shown_;
            shown_right_ += right ? 1 : 0;
        }
    }
    const double doubt = request.reference_partial * request.reference_sd.value();
    if (bound > 0.0 && bound < 0.1 * std::abs(truth.beat) && std::abs(truth.beat) > 3.0 * doubt) {
        const double allowed = std::max(1.3 * bound, 0.001 * cent);
        excess_ += error * error / (allowed * allowed);
        ++bounded_;
    }
    csv_ << what << ',' << truth.beat << ',' << reading->beat.value() << ','
         << reading->beat_sd.value() << ',' << (reading->under ? 1 : 0) << ',' << error << ','
         << bound << '\n';
}

void PairRow::print() const {
    std::printf(
        "%s: %zu of %d read; median %.4f, 95 %% %.4f a second; within tolerance %.3f; sign "
        "right %d of %d, shown %d of %d; within 1 sd %.2f, 2 sd %.2f",
        name_.c_str(), errors_.count(), cases_, errors_.median(), errors_.worst_of_20(),
        tolerable(), right_, signed_, shown_right_, shown_, errors_.within(1.0),
        errors_.within(2.0));
    if (bounded_ > 0) std::printf("; rms over allowed %.2f (%d)", over_allowed(), bounded_);
    std::printf("\n");
}

double PairRow::answered() const {
    return static_cast<double>(errors_.count()) / std::max(1, cases_);
}

double PairRow::tolerable() const {
    return within_ / std::max(1.0, static_cast<double>(errors_.count()));
}

double PairRow::mean() const { return sum_ / std::max(1.0, static_cast<double>(errors_.count())); }

double PairRow::over_allowed() const { return std::sqrt(excess_ / std::max(1, bounded_)); }

void PairRow::plot() const {
    const Axis x{0.05, 12.0, 70.0, 620.0}, y{1e-5, 1.0, 340.0, 20.0};
    std::ofstream svg("results/pair_" + name_ + ".svg");
    svg << "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 640 400\" "
           "font-family=\"sans-serif\" font-size=\"13\" fill=\"#222\">\n"
           "<rect width=\"640\" height=\"400\" fill=\"#fff\"/>\n";
    for (const double beat : {0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0})
        svg << "<path d=\"M" << x.at(beat) << " 20V340\" stroke=\"#ddd\"/><text x=\"" << x.at(beat)
            << "\" y=\"358\" text-anchor=\"middle\">" << beat << "</text>\n";
    for (const double error : {1e-5, 1e-4, 1e-3, 1e-2, 1e-1, 1.0})
        svg << "<path d=\"M70 " << y.at(error) << "H620\" stroke=\"#ddd\"/><text x=\"62\" y=\""
            << y.at(error) + 4.0 << "\" text-anchor=\"end\">" << error << "</text>\n";
    svg << "<path d=\"M70 " << y.at(0.05)
        << "H620\" stroke=\"#222\" stroke-dasharray=\"6 4\"/>\n"
           "<text x=\"345\" y=\"380\" text-anchor=\"middle\">beat, a second</text>\n"
           "<text transform=\"translate(16 180) rotate(-90)\" text-anchor=\"middle\">error, a "
           "second</text>\n";
    // A value: filled; only \"under\" known: a ring; sign turned: a cross.
    for (const Point& p : points_) {
        const double px = x.at(p.beat), py = y.at(p.error);
        if (p.turned)
            svg << "<path d=\"M" << px - 4.0 << ' ' << py - 4.0 << "l8 8m0-8l-8 8\" "
                << "stroke=\"#222\" stroke-width=\"2\"/>\n";
        else
            svg << "<circle cx=\"" << px << "\" cy=\"" << py << "\" r=\"3.5\" stroke=\"#24568a\" "
                << "fill=\"" << (p.under ? "none" : "#24568a") << "\"/>\n";
    }
    svg << "</svg>\n";
}

}  // namespace rankwright::testing

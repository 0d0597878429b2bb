#include "report/rank_plot.h"

#include "core/text.h"
#include "report/markup.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace rankwright::report {

namespace {

constexpr double kWidth = 680.0;
constexpr double kLeft = 68.0;
constexpr double kRight = 672.0;
constexpr double kTop = 14.0;

std::string at(double value) { return decimal(value, 1); }

std::string line(double x1, double y1, double x2, double y2, const std::string& kind) {
    return text_of({"<line class=\"", kind, "\" x1=\"", at(x1), "\" y1=\"", at(y1), "\" x2=\"",
                    at(x2), "\" y2=\"", at(y2), "\" />"});
}

std::string words_at(double x, double y, const std::string& kind, const std::string& text) {
    return text_of({"<text class=\"", kind, "\" x=\"", at(x), "\" y=\"", at(y), "\">",
                    escaped(text), "</text>"});
}

std::string circle(double x, double y, double r, const std::string& kind) {
    return text_of({"<circle class=\"", kind, "\" cx=\"", at(x), "\" cy=\"", at(y), "\" r=\"",
                    at(r), "\" />"});
}

std::string square(double x, double y, double half, const std::string& kind) {
    return text_of({"<rect class=\"", kind, "\" x=\"", at(x - half), "\" y=\"", at(y - half),
                    "\" width=\"", at(2 * half), "\" height=\"", at(2 * half), "\" />"});
}

// Points up for sharp, down for flat.
std::string triangle(double x, double y, bool up, const std::string& kind) {
    constexpr double kHalf = 3.4;
    const double tip = up ? -kHalf : kHalf;
    return text_of({"<path class=\"", kind, "\" d=\"M", at(x), " ", at(y + tip), " L",
                    at(x + kHalf), " ", at(y - tip), " L", at(x - kHalf), " ", at(y - tip),
                    " Z\" />"});
}

std::string cross(double x, double y, const std::string& kind) {
    constexpr double kHalf = 2.6;
    return line(x - kHalf, y - kHalf, x + kHalf, y + kHalf, kind) +
           line(x - kHalf, y + kHalf, x + kHalf, y - kHalf, kind);
}

// The frame of a plot: keys from left to right, cents from `half` above to `half` below.
struct Frame {
    int first_key;
    int last_key;
    double half;    // cents
    double height;  // of the part that holds cents

    double x(int key) const {
        const double keys = std::max(1, last_key - first_key);
        return kLeft + 12.0 + (key - first_key) * (kRight - kLeft - 24.0) / keys;
    }
    bool beyond(double cents) const { return std::abs(cents) > half; }
    double y(double cents) const {
        return kTop + height / 2.0 * (1.0 - std::clamp(cents / half, -1.0, 1.0));
    }
    double bottom() const { return kTop + height; }
};

// The scale that shows all but what stands far off by itself; that is marked at the edge.
double half_for(std::vector<double> cents) {
    constexpr std::array kHalves{2.0, 5.0, 10.0, 20.0, 30.0, 50.0};
    for (double& one : cents)
        one = std::isfinite(one) ? std::abs(one) : 0.0;
    std::sort(cents.begin(), cents.end());
    if (cents.empty()) return kHalves.front();
    const double most = cents[(cents.size() - 1) * 9 / 10];
    const double wanted = cents.back() > 4.0 * std::max(most, 1.0) ? 1.5 * most : cents.back();
    for (const double half : kHalves)
        if (wanted <= half) return half;
    return 100.0;
}

std::string frame_of(const Frame& frame, const RankLines& rank, const std::string& up,
                     const std::string& down) {
    std::string out;
    for (const double part : {-1.0, -0.5, 0.5, 1.0}) {
        const double cents = part * frame.half;
        out += line(kLeft, frame.y(cents), kRight, frame.y(cents), "grid");
        out += words_at(
            kLeft - 4.0, frame.y(cents) + 3.0, "scale",
            (part > 0 ? "+" : "−") + decimal(std::abs(cents), std::abs(cents) == 2.5 ? 1 : 0));
    }
    out += line(kLeft, frame.y(0.0), kRight, frame.y(0.0), "target");
    out += words_at(kLeft - 4.0, frame.y(0.0) + 3.0, "scale", "0");
    out += words_at(2.0, frame.y(0.25 * frame.half) + 3.0, "side", up);
    out += words_at(2.0, frame.y(-0.25 * frame.half) + 3.0, "side", down);
    for (const KeyMark& mark : rank.marks) {
        const double x = frame.x(mark.key);
        out += line(x, frame.bottom(), x, frame.bottom() + 3.0, "tick");
        const bool last = x > kRight - 40.0;
        out += words_at(last ? kRight + 4.0 : x, frame.bottom() + 25.0, last ? "key last" : "key",
                        mark.note);
    }
    return out;
}

std::string beyond_mark(const Frame& frame, double x, double cents) {
    const double y = frame.y(cents);
    return words_at(
        x, cents > 0 ? y - 4.0 : y + 10.0, "beyond",
        (cents > 0 ? "+" : "−") + decimal(std::abs(cents), std::abs(cents) < 100.0 ? 1 : 0));
}

bool off(const std::optional<Cents>& cents, Cents tolerance) {
    return cents && std::abs(cents->value()) > tolerance.value();
}

std::string found_mark(const Frame& frame, const PipeLine& pipe) {
    const double cents = pipe.before->value();
    const double x = frame.x(pipe.pipe.key);
    std::string out =
        off(pipe.before, pipe.tolerance)
            ? triangle(x, frame.y(cents), cents > 0, cents > 0 ? "found sharp" : "found flat")
            : circle(x, frame.y(cents), 2.6, "found");
    if (frame.beyond(cents)) out += beyond_mark(frame, x, cents);
    return out;
}

std::string pipe_marks(const Frame& frame, const PipeLine& pipe) {
    const double x = frame.x(pipe.pipe.key);
    const auto finite = [](const std::optional<Cents>& cents) {
        return cents && std::isfinite(cents->value());
    };
    std::string out;
    if (finite(pipe.before) && finite(pipe.after))
        out += line(x, frame.y(pipe.before->value()), x, frame.y(pipe.after->value()), "stem");
    if (finite(pipe.before)) out += found_mark(frame, pipe);
    const auto& left = finite(pipe.after) ? pipe.after : pipe.before;
    if (pipe.outcome == Outcome::open && finite(left))
        out += square(x, frame.y(left->value()), 4.6, "open");
    if (finite(pipe.after)) {
        out += circle(x, frame.y(pipe.after->value()), 2.3, "left");
        if (frame.beyond(pipe.after->value()) && !finite(pipe.before))
            out += beyond_mark(frame, x, pipe.after->value());
    }
    const double below = frame.bottom() + 10.0;
    if (pipe.outcome == Outcome::out_of_reach)
        out += line(x - 3.0, below, x + 3.0, below, "unreached");
    else if (!pipe.faults.empty())
        out += cross(x, below, "fault");
    else if (pipe.outcome == Outcome::not_heard)
        out += words_at(x, below + 3.5, "key", "?");
    return text_of({"<g><title>", escaped(pipe.note),
                    pipe.before ? ": found " + off_words(*pipe.before) : std::string(),
                    pipe.after ? ", left " + off_words(*pipe.after) : std::string(), "</title>",
                    out, "</g>"});
}

std::string picture(double height, const std::string& label, const std::string& content) {
    return text_of({"<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" viewBox=\"0 0 ",
                    at(kWidth), " ", at(height), "\" aria-label=\"", escaped(label), "\">", content,
                    "</svg>"});
}

}  // namespace

std::string tuning_plot(const RankLines& rank) {
    std::vector<double> cents;
    for (const PipeLine& pipe : rank.pipes) {
        if (pipe.before) cents.push_back(pipe.before->value());
        if (pipe.after) cents.push_back(pipe.after->value());
    }
    const Frame frame{rank.first_key, rank.last_key, half_for(std::move(cents)), 120.0};
    std::string out = frame_of(frame, rank, "sharp", "flat");
    for (const PipeLine& pipe : rank.pipes)
        out += pipe_marks(frame, pipe);
    return picture(frame.bottom() + 30.0,
                   rank.name + ": cents from the target as found and as left, by keys", out);
}

std::string drift_plot(const RankLines& rank) {
    const visit::RankDrift& drift = *rank.drift;
    std::vector<double> cents;
    for (const visit::PipeDrift& pipe : drift.pipes)
        cents.push_back(pipe.drift.value());
    const Frame frame{rank.first_key, rank.last_key, half_for(std::move(cents)), 80.0};
    std::string out = frame_of(frame, rank, "sharper", "flatter");
    if (drift.trend)
        out += line(kLeft, frame.y(drift.trend->value()), kRight, frame.y(drift.trend->value()),
                    "trend");
    for (const visit::PipeDrift& pipe : drift.pipes) {
        const double moved = pipe.drift.value();
        const double x = frame.x(pipe.pipe.key);
        const double middle = drift.trend ? drift.trend->value() : 0.0;
        out += line(x, frame.y(middle), x, frame.y(moved), "stem");
        out += pipe.astray ? triangle(x, frame.y(moved), pipe.own > Cents{0.0},
                                      pipe.own > Cents{0.0} ? "astray sharp" : "astray flat")
                           : circle(x, frame.y(moved), 2.2, "held");
        if (frame.beyond(moved)) out += beyond_mark(frame, x, moved);
    }
    return picture(frame.bottom() + 30.0,
                   rank.name + ": cents moved since it was left last, by keys", out);
}

std::string plot_legend() {
    struct Mark {
        std::string shape;
        const char* words;
        double x;
        double y;
    };
    const std::array<Mark, 9> marks{{
        {triangle(10, 10, true, "found sharp"), "found sharp", 10, 10},
        {triangle(130, 10, false, "found flat"), "found flat", 130, 10},
        {circle(250, 10, 2.6, "found"), "found in tune", 250, 10},
        {circle(370, 10, 2.3, "left"), "as it was left", 370, 10},
        {square(490, 10, 4.6, "open") + circle(490, 10, 2.3, "left"), "left open", 490, 10},
        {cross(10, 28, "fault"), "at fault", 10, 28},
        {line(127, 28, 133, 28, "unreached"), "out of reach", 130, 28},
        {words_at(250, 31.5, "key", "?"), "not heard", 250, 28},
        {words_at(370, 31.5, "beyond", "+32"), "beyond the scale", 370, 28},
    }};
    std::string out;
    for (const Mark& mark : marks)
        out += mark.shape + words_at(mark.x + 12.0, mark.y + 3.5, "legend", mark.words);
    return picture(38.0, "what the marks mean", out);
}

}  // namespace rankwright::report

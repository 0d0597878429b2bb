// How a row of pair cases came out, against the figures wanted of it.
#pragma once

#include "accuracy/pair_cases.h"
#include "listening/pair/pair.h"
#include "support/coverage.h"

#include <fstream>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::testing {

class PairRow {
  public:
    /// Cases go to results/pair_NAME.csv.
    explicit PairRow(const std::string& name);

    /// Hears a case. `bound`: the Cramér–Rao bound on its beat (Hz), where there is one.
    void judge(const std::string& what, const PairCase& truth,
               const listening::PairRequest& request, double bound = 0.0);
    /// A case heard by other means, of which only `reading` came.
    void judge(const std::string& what, const PairCase& truth,
               const listening::PairRequest& request,
               const std::optional<listening::BeatReading>& reading, double bound = 0.0);
    /// Prints the row.
    void print() const;
    /// Writes results/pair_NAME.svg: every error over its beat, and the tolerance.
    void plot() const;

    double answered() const;
    /// Share of answers within 0.05 a second or 0.1 cent, whichever is more.
    double tolerable() const;
    /// Where the beat exceeds 0.1 cent: how often the sign is right, of all and of those shown as a
    /// value.
    int signed_cases() const { return signed_; }
    int signs_right() const { return right_; }
    int shown() const { return shown_; }
    int shown_right() const { return shown_right_; }
    const Errors& errors() const { return errors_; }
    double mean() const;
    /// Rms of the errors over 1.3 bounds (or 0.001 cent), wherever the bound is under a tenth of
    /// the beat and the beat clear of the doubt of the reference: nearer, the pipe may as well be
    /// the one and the reference the other, and the bound, which is local, doesn't know.
    double over_allowed() const;

  private:
    struct Point {
        double beat, error, sd;
        bool under, turned;
    };
    std::string name_;
    std::ofstream csv_;
    Errors errors_;
    std::vector<Point> points_;
    int cases_ = 0, signed_ = 0, right_ = 0, shown_ = 0, shown_right_ = 0, bounded_ = 0;
    double within_ = 0.0, excess_ = 0.0, sum_ = 0.0;
};

}  // namespace rankwright::testing

// Two visits at one organ, half a year apart and in other air: an invented technician's work.
#pragma once

#include "organ/instrument.h"
#include "organ/target.h"
#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <cmath>
#include <map>
#include <random>
#include <string>
#include <vector>

namespace rankwright::testing {

/// How far a flue rises from one temperature to another, from the speed of sound in dry air
/// (ISO 9613-1:1993: 343.2 m/s × √(T / 293.15 K)): pitch goes with it.
inline double flue_rise(double from_c, double to_c) {
    const auto speed = [](double celsius) {
        return 343.2 * std::sqrt((celsius + 273.15) / 293.15);
    };
    return 1200.0 * std::log2(speed(to_c) / speed(from_c));
}

struct InventedVisit {
    visit::VisitRecord record;
    std::vector<visit::BookEntry> entries;

    void add(visit::BookMatter matter) {
        at += std::chrono::seconds{20};
        entries.push_back({entries.size() + 1, at, std::move(matter)});
    }
    visit::WallTime at;
};

/// Work at stops of an instrument. Each pipe has its own cents, which stay when the air changes.
class TwoVisits {
  public:
    TwoVisits(const organ::Instrument& instrument, double first_c, double second_c)
        : instrument_(instrument) {
        begin(first, "11111111-1111-4111-8111-111111111111", 1'777'700'000);
        begin(second, "22222222-2222-4222-8222-222222222222", 1'795'680'000);
        first_c_ = first_c;
        second_c_ = second_c;
    }

    InventedVisit first, second;

    /// A as the references tell it: they are flues.
    void measure_pitch() {
        first.add(visit::PitchReading{a(first_c_), true});
        second.add(visit::PitchReading{a(second_c_), true});
    }
    void read_thermometers() {
        first.add(visit::AirReading{{}, Celsius{first_c_}, {}});
        second.add(visit::AirReading{{}, Celsius{second_c_}, {}});
    }
    /// A pipe was left `left` cents from its target on the first visit, and went `moved` by itself
    /// until the second, where it was left `again` cents off. Returns what it was found off.
    double tune(const organ::Pipe& pipe, double left, double moved, double again,
                double before = 3.0, const std::optional<PipeId>& reference = {}) {
        keep(first, pipe, first_c_, before, visit::Moment::before, {});
        keep(first, pipe, first_c_, left, visit::Moment::after, reference);
        first.add(visit::ListChange{pipe.id, visit::ListState::done});
        // The target rises as flues do, the pipe by its share.
        const double rise = flue_rise(first_c_, second_c_);
        const double found = left + moved + (pipe.make.temperature_share - 1.0) * rise;
        keep(second, pipe, second_c_, found, visit::Moment::before, {});
        keep(second, pipe, second_c_, again, visit::Moment::after, reference);
        second.add(visit::ListChange{
            pipe.id, std::abs(again) <= 0.5 ? visit::ListState::done : visit::ListState::open});
        return found;
    }

  private:
    Hertz a(double celsius) const {
        return transpose(instrument_.a, Cents{flue_rise(instrument_.at.value(), celsius)});
    }
    void begin(InventedVisit& visit, const std::string& id, std::int64_t started_s) {
        visit.record.id = id;
        visit.record.organ = slug(instrument_.name);
        visit.record.organ_name = instrument_.name;
        visit.record.started = visit::WallTime{std::chrono::seconds{started_s}};
        visit.at = visit.record.started;
    }
    void keep(InventedVisit& visit, const organ::Pipe& pipe, double celsius, double deviation,
              visit::Moment moment, const std::optional<PipeId>& reference) {
        visit::KeptReading one;
        one.pipe = pipe.id;
        one.moment = moment;
        one.target = organ::target(instrument_, pipe, {a(celsius), {}});
        one.pitch = transpose(one.target, Cents{deviation});
        one.deviation = Cents{deviation};
        one.uncertainty = Cents{0.05};
        one.heard = Seconds{2.0};
        one.settled = moment == visit::Moment::after && std::abs(deviation) <= 0.5;
        one.reference = reference;
        if (reference) one.reference_deviation = Cents{0.1};
        visit.add(one);
    }

    const organ::Instrument& instrument_;
    double first_c_ = 18.0;
    double second_c_ = 18.0;
};

}  // namespace rankwright::testing

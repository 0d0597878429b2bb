// Invented entries of every kind, with every text and figure that could be troublesome.
#pragma once

#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <array>
#include <limits>
#include <random>
#include <string>
#include <vector>

namespace rankwright::testing {

class BookEntries {
  public:
    explicit BookEntries(std::uint64_t seed) : random_(seed) {}

    visit::BookEntry entry(std::uint64_t serial) {
        using namespace visit;
        BookEntry entry;
        entry.serial = serial;
        entry.at = WallTime{std::chrono::milliseconds{1'790'000'000'000 + below(1'000'000'000)}};
        switch (below(12)) {
            case 0:
                entry.matter = Fault{pipe(), text(), text()};
                break;
            case 1:
                entry.matter = OutOfReach{pipe(), below(2) == 0};
                break;
            case 2:
                entry.matter = AirReading{text(), Celsius{number()}, maybe(number())};
                break;
            case 3:
                entry.matter = PitchReading{Hertz{number()}, below(2) == 0};
                break;
            case 4:
                entry.matter = remark();
                break;
            case 5:
                entry.matter = ListChange{pipe(), static_cast<ListState>(below(5))};
                break;
            case 6:
                if (serial > 1) {
                    entry.matter = Withdrawal{1 + static_cast<std::uint64_t>(below(
                                                      static_cast<std::int64_t>(serial) - 1))};
                    break;
                }
                [[fallthrough]];
            default:
                entry.matter = reading(pipe());
        }
        return entry;
    }
    std::vector<visit::BookEntry> entries(std::uint64_t first, std::size_t count) {
        std::vector<visit::BookEntry> all;
        for (std::size_t i = 0; i < count; ++i)
            all.push_back(entry(first + i));
        return all;
    }
    visit::KeptReading reading(const PipeId& of) {
        visit::KeptReading one;
        one.pipe = of;
        one.moment = static_cast<visit::Moment>(below(3));
        one.pitch = Hertz{number()};
        one.target = Hertz{number()};
        one.deviation = Cents{number()};
        one.uncertainty = Cents{number()};
        one.heard = Seconds{number()};
        one.settled = below(2) == 0;
        one.reference = maybe(pipe());
        one.reference_deviation = maybe(Cents{number()});
        one.reference_uncertainty = maybe(Cents{number()});
        one.beat = maybe(Hertz{number()});
        one.air = maybe(Celsius{number()});
        return one;
    }
    PipeId pipe() {
        return {below(2) == 0 ? "great" : "swell", below(2) == 0 ? "octave-4" : "mixture",
                1 + static_cast<int>(below(4)), 1 + static_cast<int>(below(61))};
    }
    std::int64_t below(std::int64_t end) {
        return std::uniform_int_distribution<std::int64_t>(0, end - 1)(random_);
    }

  private:
    template <typename T>
    std::optional<T> maybe(T value) {
        return below(3) == 0 ? std::nullopt : std::optional<T>(value);
    }
    double number() {
        using Limits = std::numeric_limits<double>;
        static constexpr std::array kAwkward{0.0,
                                             -0.0,
                                             1.0 / 3.0,
                                             -440.0,
                                             1e-300,
                                             Limits::max(),
                                             Limits::min(),
                                             Limits::denorm_min(),
                                             Limits::infinity(),
                                             -Limits::infinity(),
                                             Limits::quiet_NaN(),
                                             9007199254740993.0};
        if (below(20) == 0) return kAwkward[static_cast<std::size_t>(below(kAwkward.size()))];
        return std::normal_distribution<double>(0.0, 300.0)(random_);
    }
    std::string text() {
        using namespace std::string_literals;
        static const std::array kTexts{""s,
                                       "off speech"s,
                                       "says \"ciph\"\"er\", then\r\nstops"s,
                                       "=1+1;a,b\t'c'"s,
                                       "Tür · 4′ ♯ 𝄞"s,
                                       "a\0b"s,
                                       "</script>&lt;"s,
                                       "'; DROP TABLE entry; --"s,
                                       std::string(600, 'x')};
        return kTexts[static_cast<std::size_t>(below(kTexts.size()))];
    }
    visit::Remark remark() {
        visit::Remark one;
        if (below(2) == 0) one.stop = StopId{"great", "octave-4"};
        one.key = maybe(1 + static_cast<int>(below(61)));
        one.words = text();
        one.complaint = below(2) == 0;
        return one;
    }

    std::mt19937_64 random_;
};

inline visit::VisitRecord invented_visit(const std::string& id,
                                         const std::string& organ = "emberlow",
                                         std::int64_t started_s = 1'790'000'000) {
    visit::VisitRecord visit;
    visit.id = id;
    visit.organ = organ;
    visit.organ_name = organ + " \"Hall\", 2′";
    visit.instrument_file = organ + ".toml";
    visit.started = visit::WallTime{std::chrono::seconds{started_s}};
    return visit;
}

}  // namespace rankwright::testing

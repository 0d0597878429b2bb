#include "storage/book_figures.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <tuple>
#include <utility>

namespace rankwright::storage {

namespace {

using namespace visit;

template <typename T>
void take_if(std::optional<T>& into, bool wanted, const T& value) {
    if (wanted) into = value;
}

/// Sorted by pipes.
std::map<PipeId, PipeFigures> figures_of(const std::vector<BookedReading>& readings) {
    std::map<PipeId, PipeFigures> figures;
    for (const BookedReading& one : readings) {
        PipeFigures& pipe = figures[one.reading.pipe];
        pipe.pipe = one.reading.pipe;
        pipe.visit = one.visit;
        take_if(pipe.survey, one.reading.moment == Moment::survey, one);
        take_if(pipe.before, one.reading.moment == Moment::before && !pipe.before, one);
        take_if(pipe.after, one.reading.moment == Moment::after, one);
    }
    return figures;
}

std::vector<PipeFigures> listed(std::map<PipeId, PipeFigures>&& figures) {
    std::vector<PipeFigures> list;
    list.reserve(figures.size());
    for (auto& [pipe, one] : figures)
        list.push_back(std::move(one));
    return list;
}

std::vector<BookedReading> readings_of(SQLite::Database& book, const VisitRow& visit) {
    return counted_readings(book, "r.visit = ? ORDER BY r.serial", {visit.number});
}

/// Each visit with its branches, by the beginning of the first.
std::vector<std::vector<VisitRow>> with_branches(std::vector<VisitRow> visits) {
    std::map<std::int64_t, std::int64_t> branch_of;
    for (const VisitRow& visit : visits)
        if (visit.branch_of) branch_of[visit.number] = *visit.branch_of;
    const auto root_of = [&](std::int64_t number) {
        for (auto from = branch_of.find(number); from != branch_of.end();
             from = branch_of.find(number))
            number = from->second;
        return number;
    };
    std::vector<std::vector<VisitRow>> all;
    std::map<std::int64_t, std::size_t> places;
    // A visit comes before its branches, which begin later.
    for (VisitRow& visit : visits) {
        const auto [place, is_new] = places.try_emplace(root_of(visit.number), all.size());
        if (is_new) all.emplace_back();
        all[place->second].push_back(std::move(visit));
    }
    return all;
}

/// Of a visit that went on apart in two copies of the book, what was read in both, by its time:
/// that is the same in every copy, whichever part keeps the visit's id there.
std::vector<BookedReading> readings_of(SQLite::Database& book, const std::vector<VisitRow>& parts) {
    std::vector<BookedReading> readings;
    for (const VisitRow& part : parts) {
        auto own = readings_of(book, part);
        std::move(own.begin(), own.end(), std::back_inserter(readings));
    }
    const auto number = [](double value) {
        return std::isnan(value) ? -std::numeric_limits<double>::infinity() : value;
    };
    const auto when = [&](const BookedReading& one) {
        return std::tuple(one.at, one.serial, one.reading.moment, number(one.reading.pitch.value()),
                          number(one.reading.deviation.value()));
    };
    if (parts.size() > 1)
        std::stable_sort(readings.begin(), readings.end(),
                         [&](const auto& a, const auto& b) { return when(a) < when(b); });
    return readings;
}

std::set<PipeId> pipes_with_readings(SQLite::Database& book, const std::string& organ) {
    SQLite::Statement row(book,
                          "SELECT p.division, p.stop, p.row, p.key FROM pipe p JOIN organ o ON "
                          "o.id = p.organ WHERE o.slug = ? AND EXISTS (SELECT 1 FROM reading r "
                          "WHERE r.pipe = p.id)");
    row.bind(1, organ);
    std::set<PipeId> pipes;
    while (row.executeStep())
        pipes.insert({row.getColumn(0).getString(), row.getColumn(1).getString(),
                      row.getColumn(2).getInt(), row.getColumn(3).getInt()});
    return pipes;
}

}  // namespace

std::vector<BookedReading> line_readings(SQLite::Database& book, const VisitRow& visit) {
    std::vector<BookedReading> readings;
    for (const VisitRow& part : line_of(book, visit)) {
        while (!readings.empty() && readings.back().serial >= part.first_serial)
            readings.pop_back();
        auto own = readings_of(book, part);
        std::move(own.begin(), own.end(), std::back_inserter(readings));
    }
    return readings;
}

std::vector<PipeFigures> figures(SQLite::Database& book, const VisitRow& visit) {
    return listed(figures_of(line_readings(book, visit)));
}

std::vector<PipeFigures> last_figures(SQLite::Database& book, const std::string& organ,
                                      const std::string& except) {
    std::set<PipeId> sought = pipes_with_readings(book, organ);
    std::map<PipeId, PipeFigures> last;
    // From the latest visit back until every pipe is found: mostly the first few have them all.
    const auto visits = with_branches(list_visits(book, organ));
    for (auto visit = visits.rbegin(); visit != visits.rend() && !sought.empty(); ++visit) {
        if (std::any_of(visit->begin(), visit->end(),
                        [&](const VisitRow& part) { return part.record.id == except; }))
            continue;
        auto figures = figures_of(readings_of(book, *visit));
        for (const auto& [pipe, one] : figures)
            sought.erase(pipe);
        last.merge(figures);
    }
    return listed(std::move(last));
}

}  // namespace rankwright::storage

#include "app/book_report.h"

#include "core/nearest_word.h"
#include "core/text.h"
#include "visit/wall_time.h"

#include <algorithm>
#include <utility>

namespace rankwright::app {

namespace {

/// Empty for any organ.
Result<std::optional<std::string>> find_organ(const storage::TuningBook& book,
                                              const std::string& name) {
    if (name.empty()) return std::nullopt;
    // Mostly it is named rightly: then the others needn't be read.
    if (const auto latest = book.latest_visit(slug(name)); latest && *latest) return slug(name);
    const auto organs = book.organs();
    if (!organs) return tl::unexpected(organs.error());
    std::vector<std::string> known;
    for (const visit::OrganRecord& one : *organs) {
        if (one.slug == name || one.name == name || one.slug == slug(name)) return one.slug;
        known.push_back(one.name);
        known.push_back(one.slug);
    }
    const auto nearest = nearest_word(name, known);
    std::string words =
        text_of({"the book ", book.file().string(), " has no organ \"", name, "\""});
    if (nearest) {
        words += "; did you mean \"" + *nearest + "\"?";
    } else if (!organs->empty()) {
        words += "; it has ";
        for (std::size_t i = 0; i < organs->size() && i < 5; ++i)
            words += text_of({i > 0 ? ", \"" : "\"", (*organs)[i].name, "\""});
        words += organs->size() > 5 ? " and others" : "";
    }
    return fail(ErrorKind::not_found, words);
}

std::string root_of(const std::vector<visit::VisitRecord>& visits, const visit::VisitRecord& of) {
    std::string root = of.id;
    std::string branch_of = of.branch_of;
    for (std::size_t steps = 0; !branch_of.empty() && steps < visits.size(); ++steps) {
        root = branch_of;
        const auto found = std::find_if(visits.begin(), visits.end(),
                                        [&](const auto& one) { return one.id == root; });
        branch_of = found == visits.end() ? std::string() : found->branch_of;
    }
    return root;
}

/// A visit and what branched off from it in another copy of the book.
using WithBranches = std::vector<visit::VisitRecord>;

/// The latest first; parts of the same visit aren't before it.
Result<std::vector<WithBranches>> visits_before(const storage::TuningBook& book,
                                                const visit::VisitRecord& visit) {
    const auto visits = book.visits(visit.organ);
    if (!visits) return tl::unexpected(visits.error());
    const std::string root = root_of(*visits, visit);
    std::vector<std::string> roots;
    std::vector<WithBranches> earlier;
    for (const visit::VisitRecord& one : *visits) {
        const std::string of = root_of(*visits, one);
        if (one.started >= visit.started || of == root) continue;
        const auto known = std::find(roots.begin(), roots.end(), of);
        if (known == roots.end()) {
            roots.push_back(of);
            earlier.push_back({one});
        } else {
            earlier[static_cast<std::size_t>(known - roots.begin())].push_back(one);
        }
    }
    std::reverse(earlier.begin(), earlier.end());
    return earlier;
}

/// As each pipe was read last, in whichever part.
Result<visit::DatedReadings> left_by(const storage::TuningBook& book, const WithBranches& parts) {
    visit::DatedReadings left;
    for (const visit::VisitRecord& part : parts) {
        const auto entries = book.entries(part.id);
        if (!entries) return tl::unexpected(entries.error());
        for (auto& [pipe, reading] : visit::readings_of(part.id, *entries).left) {
            const auto known = left.find(pipe);
            if (known == left.end())
                left.emplace(pipe, reading);
            else if (known->second.at < reading.at)
                known->second = reading;
        }
    }
    return left;
}

}  // namespace

Result<visit::VisitRecord> find_visit(const storage::TuningBook& book, const WhichVisit& which) {
    const auto organ = find_organ(book, which.organ);
    if (!organ) return tl::unexpected(organ.error());
    const auto latest = book.latest_visit(*organ);
    if (!latest) return tl::unexpected(latest.error());
    if (!*latest)
        return fail(ErrorKind::nothing_heard,
                    text_of({"the book ", book.file().string(),
                             " has no visit yet: tune with `rankwright chamber ORGAN.toml` first, "
                             "or name another book with --book"}));
    if (which.visit.empty()) return **latest;
    auto fitting = book.visits_named(which.visit);
    if (!fitting) return tl::unexpected(fitting.error());
    if (*organ) std::erase_if(*fitting, [&](const auto& one) { return one.organ != **organ; });
    for (const visit::VisitRecord& one : *fitting)
        if (one.id == which.visit) return one;
    if (fitting->size() == 1) return fitting->front();
    std::string words =
        text_of({fitting->empty() ? "no visit" : "more than one visit",
                 " in the book has an id that begins with \"", which.visit, "\". "});
    const auto all = fitting->empty() ? book.visits(*organ) : fitting;
    if (!all) return tl::unexpected(all.error());
    words += "The latest are";
    for (std::size_t i = all->size() > 3 ? all->size() - 3 : 0; i < all->size(); ++i)
        words += text_of({"\n  ", (*all)[i].id, " of ", visit::to_text((*all)[i].started), " at ",
                          (*all)[i].organ_name});
    return fail(fitting->empty() ? ErrorKind::not_found : ErrorKind::bad_input, words);
}

Result<std::optional<visit::VisitRecord>> visit_before(const storage::TuningBook& book,
                                                       const visit::VisitRecord& visit) {
    auto earlier = visits_before(book, visit);
    if (!earlier) return tl::unexpected(earlier.error());
    if (earlier->empty()) return std::nullopt;
    return std::move(earlier->front().back());
}

Result<visit::DatedReadings> left_before(const storage::TuningBook& book,
                                         const visit::VisitRecord& visit) {
    constexpr std::size_t kMostVisits = 8;
    const auto earlier = visits_before(book, visit);
    if (!earlier) return tl::unexpected(earlier.error());
    visit::DatedReadings left;
    for (std::size_t i = 0; i < std::min(kMostVisits, earlier->size()); ++i) {
        auto readings = left_by(book, (*earlier)[i]);
        if (!readings) return tl::unexpected(readings.error());
        left.merge(*readings);
    }
    return left;
}

Result<visit::DatedReadings> left_before(const storage::TuningBook& book,
                                         const visit::VisitRecord& visit,
                                         const visit::DatedReadings& found) {
    const auto earlier = visits_before(book, visit);
    if (!earlier) return tl::unexpected(earlier.error());
    visit::DatedReadings left;
    for (const WithBranches& one : *earlier) {
        if (left.size() == found.size()) break;
        const auto readings = left_by(book, one);
        if (!readings) return tl::unexpected(readings.error());
        for (const auto& [pipe, reading] : *readings)
            if (found.count(pipe) > 0) left.try_emplace(pipe, reading);
    }
    return left;
}

Result<report::VisitReport> report_of(const storage::TuningBook& book,
                                      const visit::VisitRecord& visit,
                                      const organ::Instrument* instrument) {
    auto entries = book.entries(visit.id);
    if (!entries) return tl::unexpected(entries.error());
    auto left = left_before(book, visit, visit::readings_of(visit.id, *entries).found);
    if (!left) return tl::unexpected(left.error());
    return report::compose({visit, std::move(*entries), instrument, std::move(*left)});
}

}  // namespace rankwright::app

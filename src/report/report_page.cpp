#include "report/report_page.h"

#include "core/text.h"
#include "organ/air.h"
#include "report/markup.h"
#include "report/rank_plot.h"
#include "report/report_style.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <ctime>
#include <utility>

namespace rankwright::report {

namespace {

std::string local(visit::WallTime at, const char* form) {
    const std::time_t seconds =
        std::chrono::floor<std::chrono::seconds>(at).time_since_epoch().count();
    std::tm parts{};
    std::array<char, 64> text{};
    if (localtime_r(&seconds, &parts) == nullptr ||
        std::strftime(text.data(), text.size(), form, &parts) == 0)
        return "at an unknown time";
    return text.data();
}

std::string cell(const std::string& markup, const char* kind = "") {
    return *kind == '\0' ? text_of({"<td>", markup, "</td>"})
                         : text_of({"<td class=\"", kind, "\">", markup, "</td>"});
}

struct Head {
    const char* words;
    int width = 0;  ///< per cent; 0: as it comes
    bool figures = false;
};

std::string table(const std::vector<Head>& heads, const std::string& rows) {
    const bool fixed = heads.front().width > 0;
    std::string out = fixed ? "<table class=\"list fixed\"><colgroup>" : "<table class=\"list\">";
    for (const Head& head : heads)
        if (fixed) out += text_of({"<col style=\"width: ", std::to_string(head.width), "%\" />"});
    out += fixed ? "</colgroup><thead><tr>" : "<thead><tr>";
    for (const Head& head : heads)
        out += text_of({head.figures ? "<th scope=\"col\" class=\"figure\">" : "<th scope=\"col\">",
                        head.words, "</th>"});
    return out + "</tr></thead><tbody>" + rows + "</tbody></table>\n";
}

std::string row(const std::string& cells) { return "<tr>" + cells + "</tr>\n"; }

std::string list(const std::vector<std::string>& sentences) {
    std::string out = "<ul>\n";
    for (const std::string& one : sentences)
        out += "<li>" + name(one) + "</li>\n";
    return out + "</ul>\n";
}

std::string paragraph(const std::string& markup, const char* kind = "") {
    return *kind == '\0' ? text_of({"<p>", markup, "</p>\n"})
                         : text_of({"<p class=\"", kind, "\">", markup, "</p>\n"});
}

std::string head(const VisitReport& report) {
    std::string when = local_time(report.visit.started);
    const visit::WallTime end = report.visit.ended.value_or(report.last_entry);
    const std::string until = local_time(end);
    if (until.substr(0, 10) == when.substr(0, 10))
        when += " to " + until.substr(11);
    else
        when += " to " + until;
    if (!report.visit.ended) when += " (not ended yet)";
    std::string out = text_of({"<h1>Tuning report: ", name(report.organ), "</h1>\n"});
    if (!report.place.empty()) out += paragraph(name(report.place), "under");
    std::string facts = "Visit of " + escaped(when) + ", local time.";
    if (report.home_a)
        facts += text_of({" The organ’s own pitch: A ", decimal(report.home_a->value(), 1),
                          " Hz at ", organ::celsius_text(*report.home_air),
                          ". Temperament: ", name(report.temperament), "."});
    out += paragraph(facts);
    out += paragraph("<strong>" + escaped(report.summary) + "</strong>");
    if (!report.instrument_known)
        out += paragraph(
            "This report was made without the organ’s instrument file: pipes are named by the "
            "numbers of their keys, and how they are made, the organ’s own pitch and its "
            "temperament are not known here.");
    return out;
}

std::string asked(const VisitReport& report) {
    std::string out = "<section><h2>What was asked and remarked</h2>\n";
    if (report.asked.empty()) return out + paragraph("Nothing was noted.") + "</section>\n";
    std::string rows;
    for (const Asked& one : report.asked)
        rows += row(cell(escaped(local_time(one.at)), "time") +
                    cell(one.complaint ? "asked by the client" : "remarked") +
                    cell(name(one.about)) + cell(name(one.words)));
    return out + table({{"when", 19}, {"by whom", 15}, {"about", 26}, {"what", 40}}, rows) +
           "</section>\n";
}

std::string day(const VisitReport& report) {
    std::string out = "<section><h2>Temperature and pitch</h2>\n";
    if (report.air.empty() && report.pitch.empty())
        return out + paragraph("Neither temperature nor pitch was noted.") + "</section>\n";
    std::string rows;
    for (const AirLine& one : report.air)
        rows +=
            row(cell(escaped(local_time(one.at)), "time") + cell(name(one.place)) +
                cell(organ::celsius_text(one.air) + " (" + organ::fahrenheit_text(one.air) + ")",
                     "figure") +
                cell(one.humidity ? decimal(*one.humidity * 100.0, 0) + " %" : "", "figure"));
    if (!report.air.empty())
        out += table({{"when", 19},
                      {"where", 41},
                      {"temperature", 22, true},
                      {"relative humidity", 18, true}},
                     rows);
    rows.clear();
    for (const PitchLine& one : report.pitch)
        rows += row(cell(escaped(local_time(one.at)), "time") +
                    cell(one.measured ? "as heard from the references" : "as given") +
                    cell("A " + decimal(one.a.value(), 2) + " Hz", "figure") + cell(""));
    if (!report.pitch.empty())
        out += table({{"when", 19}, {"how known", 41}, {"pitch of the day", 22, true}, {"", 18}},
                     rows);
    return out + "</section>\n";
}

// The middle and the greatest of what pipes stood off.
struct Off {
    std::string typical = "–";
    std::string furthest = "–";
};

Off off_of(const RankLines& rank, std::optional<Cents> PipeLine::*which) {
    std::vector<double> off;
    const PipeLine* furthest = nullptr;
    for (const PipeLine& pipe : rank.pipes) {
        const std::optional<Cents>& cents = pipe.*which;
        if (!cents || !std::isfinite(cents->value())) continue;
        off.push_back(std::abs(cents->value()));
        if (furthest == nullptr || off.back() > std::abs((furthest->*which)->value()))
            furthest = &pipe;
    }
    if (furthest == nullptr) return {};
    std::sort(off.begin(), off.end());
    const double worst = (furthest->*which)->value();
    return {decimal(off[off.size() / 2], 1), (worst < 0 ? "−" : "+") + decimal(std::abs(worst), 1)};
}

std::string tuned(const VisitReport& report) {
    std::string out = "<section><h2>What was tuned</h2>\n";
    if (std::none_of(report.ranks.begin(), report.ranks.end(),
                     [](const RankLines& rank) { return rank.heard(); }))
        return out + paragraph("Nothing.") + "</section>\n";
    out += paragraph(
        "In cents from each pipe’s target of the day; a cent is the hundredth part of an "
        "equal-tempered semitone. Plus and sharp: too high; minus and flat: too low. A pipe counts "
        "as in tune within half a cent, or within a twentieth of a beat a second where that is "
        "more; pipes that were found so and left as they were are counted too.",
        "small");
    std::string rows;
    for (const RankLines& rank : report.ranks) {
        if (!rank.heard()) continue;
        const Off before = off_of(rank, &PipeLine::before);
        const Off after = off_of(rank, &PipeLine::after);
        rows += row(cell(name(rank.name) + (rank.tuned_from.empty()
                                                ? ""
                                                : "<br /><span class=\"small\">from " +
                                                      name(rank.tuned_from) + "</span>"),
                         "rank") +
                    cell(std::to_string(rank.in_tune()), "figure") +
                    cell(std::to_string(rank.count(Outcome::open)), "figure") +
                    cell(before.typical, "figure") + cell(before.furthest, "figure") +
                    cell(after.typical, "figure") + cell(after.furthest, "figure"));
    }
    out += table({{"rank"},
                  {"pipes in tune", 0, true},
                  {"left open", 0, true},
                  {"found: typical", 0, true},
                  {"furthest", 0, true},
                  {"left: typical", 0, true},
                  {"furthest", 0, true}},
                 rows);
    std::string legend = plot_legend();
    for (const RankLines& rank : report.ranks)
        if (rank.heard())
            out += text_of({"<figure>", std::exchange(legend, {}), "<h3>", name(rank.name), "</h3>",
                            tuning_plot(rank), "</figure>\n"});
    return out + "</section>\n";
}

// No more than so many of a rank's pipes are named.
constexpr std::size_t kAll = 1000;
constexpr std::size_t kFurthest = 12;

std::string reasons(const char* heading, const std::vector<Reason>& all, const char* none,
                    std::size_t named = kAll) {
    if (all.empty() && *none == '\0') return {};
    std::string out = text_of({"<section><h2>", heading, "</h2>\n"});
    if (all.empty()) return out + paragraph(none) + "</section>\n";
    // What the heading says already needn't be said of each.
    const bool alike = std::all_of(all.begin(), all.end(),
                                   [&](const Reason& one) { return one.why == all.front().why; });
    std::string rows;
    for (const Reason& one : all) {
        std::string pipes;
        for (std::size_t i = 0; i < std::min(named, one.pipes.size()); ++i)
            pipes += (i == 0 ? "" : ", ") + name(one.pipes[i]);
        if (one.pipes.size() > named)
            pipes += text_of(
                {", and ", std::to_string(one.pipes.size() - named), " more that stood nearer"});
        rows += row(cell(name(one.rank), "rank") + cell(pipes) +
                    (alike && named != kAll ? "" : cell(name(one.why))));
    }
    return out +
           (alike && named != kAll ? table({{"rank", 28}, {"pipes", 72}}, rows)
                                   : table({{"rank", 28}, {"pipes", 42}, {"why", 30}}, rows)) +
           "</section>\n";
}

std::string trend_words(const visit::RankDrift& drift) {
    if (!drift.trend) return {};
    return paragraph("The rank’s own trend: " + drift_words(*drift.trend) + " (± " +
                         decimal(drift.trend_doubt.value(), 1) +
                         "); its pipes moved against it by " + decimal(drift.spread->value(), 1) +
                         " cents, typically.",
                     "small");
}

std::string since_last(const VisitReport& report) {
    if (report.drift.empty()) return {};
    std::string out = text_of(
        {"<section><h2>Since the last visit",
         report.last_visit ? " (" + escaped(local_date(*report.last_visit)) + ")" : std::string(),
         "</h2>\n"});
    for (const std::string& sentence : report.drift)
        out += paragraph(name(sentence));
    out += paragraph(
        "The dashed line is the rank’s own trend, the median of its pipes; filled triangles are "
        "pipes that clearly moved away from it, dots those that held.",
        "small");
    for (const RankLines& rank : report.ranks)
        if (rank.drift)
            out += text_of({"<figure><h3>", name(rank.name), "</h3>", trend_words(*rank.drift),
                            drift_plot(rank), "</figure>\n"});
    return out + "</section>\n";
}

std::string sign() {
    return "<h2>Signed</h2>\n<div class=\"sign\">"
           "<div>tuned by</div><div>place and date</div>"
           "<div>received for the client by</div><div>place and date</div></div></section>\n";
}

}  // namespace

std::string local_time(visit::WallTime at) { return local(at, "%Y-%m-%d %H:%M"); }
std::string local_date(visit::WallTime at) { return local(at, "%Y-%m-%d"); }

std::string to_html(const VisitReport& report) {
    const std::string date = local_date(report.visit.started);
    return text_of(
        {"<!DOCTYPE html>\n<html xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"en\">\n<head>\n"
         "<meta charset=\"utf-8\" />\n"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n<title>",
         escaped(report.organ),
         ", tuning report of ",
         date,
         "</title>\n<style>",
         kStyle,
         "</style>\n</head>\n<body>\n"
         "<table class=\"sheet\" role=\"presentation\"><thead aria-hidden=\"true\"><tr><td>"
         "<div class=\"running\"><span>",
         name(report.organ),
         "</span><span>Tuning report, ",
         date,
         "</span></div></td></tr></thead>\n<tbody><tr><td>\n",
         head(report),
         asked(report),
         day(report),
         tuned(report),
         reasons("What could not be tuned, and why", report.not_tuned,
                 report.ranks.empty() ? "Nothing was taken in hand."
                                      : "Everything that was taken in hand was left in tune."),
         reasons("Found off, and not tuned", report.found_off, "", kFurthest),
         reasons("On the list, but not heard", report.not_heard, ""),
         reasons("Faults of pipes that were tuned", report.faults, ""),
         since_last(report),
         "<section><h2>Advice</h2>\n",
         list(report.advice),
         "</section>\n<section class=\"keep\"><h2>Cautions</h2>\n",
         list(report.cautions),
         sign(),
         "</td></tr></tbody></table>\n</body>\n</html>\n"});
}

}  // namespace rankwright::report

// `rankwright report`: what was done on a visit, for the client.
#include "app/book_report.h"
#include "app/commands.h"
#include "app/json_output.h"
#include "app/visit_pages.h"
#include "report/report_page.h"
#include "storage/durable_file.h"
#include "storage/instrument_file.h"
#include "visit/wall_time.h"

#include <cstdio>
#include <filesystem>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

struct ReportOptions {
    WhichVisit which;
    std::string book;
    std::string file;
    std::string instrument;
    bool json = false;
};

const char* word_of(report::Outcome outcome) {
    switch (outcome) {
        case report::Outcome::tuned:
            return "tuned";
        case report::Outcome::open:
            return "open";
        case report::Outcome::heard:
            return "heard";
        case report::Outcome::out_of_reach:
            return "out of reach";
        case report::Outcome::faulty:
            return "faulty";
        case report::Outcome::not_heard:
            break;
    }
    return "not heard";
}

const char* word_of(visit::DriftBasis basis) {
    switch (basis) {
        case visit::DriftBasis::pitch:
            return "measured pitch";
        case visit::DriftBasis::thermometers:
            return "thermometers";
        case visit::DriftBasis::given_pitch:
            return "given pitch";
        case visit::DriftBasis::none:
            break;
    }
    return "none";
}

Json drift_json(const visit::RankDrift& drift) {
    Json json{{"basis", word_of(drift.basis)},
              {"trend_cents", or_null(drift.trend)},
              {"trend_sd_cents", drift.trend_doubt.value()},
              {"spread_cents", or_null(drift.spread)},
              {"moved", drift.moved},
              {"restless", drift.restless},
              {"kinds_known", drift.kinds_known},
              {"pipes", Json::array()}};
    for (const visit::PipeDrift& pipe : drift.pipes)
        json["pipes"].push_back({{"id", to_string(pipe.pipe)},
                                 {"since", visit::to_text(pipe.since)},
                                 {"heard_cents", pipe.heard.value()},
                                 {"air_cents", pipe.air.value()},
                                 {"drift_cents", pipe.drift.value()},
                                 {"own_cents", pipe.own.value()},
                                 {"own_sd_cents", pipe.uncertainty.value()},
                                 {"astray", pipe.astray}});
    return json;
}

Json rank_json(const report::RankLines& rank) {
    Json json{{"rank", rank.name},
              {"tuned_from", rank.tuned_from.empty() ? Json(nullptr) : Json(rank.tuned_from)},
              {"tuned", rank.count(report::Outcome::tuned)},
              {"in_tune", rank.in_tune()},
              {"open", rank.count(report::Outcome::open)},
              {"pipes", Json::array()}};
    for (const report::PipeLine& pipe : rank.pipes)
        json["pipes"].push_back({{"id", to_string(pipe.pipe)},
                                 {"note", pipe.note},
                                 {"before_cents", or_null(pipe.before)},
                                 {"after_cents", or_null(pipe.after)},
                                 {"tolerance_cents", pipe.tolerance.value()},
                                 {"outcome", word_of(pipe.outcome)},
                                 {"warm", pipe.warm},
                                 {"creeps", pipe.creeps},
                                 {"unstable", pipe.unstable},
                                 {"faults", pipe.faults}});
    json["drift"] = rank.drift ? drift_json(*rank.drift) : Json(nullptr);
    return json;
}

Json reasons_json(const std::vector<report::Reason>& reasons) {
    Json json = Json::array();
    for (const report::Reason& one : reasons)
        json.push_back({{"rank", one.rank}, {"why", one.why}, {"pipes", one.pipes}});
    return json;
}

Json day_json(const report::VisitReport& report) {
    Json json{{"asked", Json::array()}, {"air", Json::array()}, {"pitch", Json::array()}};
    for (const report::Asked& one : report.asked)
        json["asked"].push_back({{"at", visit::to_text(one.at)},
                                 {"about", one.about},
                                 {"words", one.words},
                                 {"complaint", one.complaint}});
    for (const report::AirLine& one : report.air)
        json["air"].push_back({{"at", visit::to_text(one.at)},
                               {"place", one.place},
                               {"temperature_c", one.air.value()},
                               {"humidity", or_null(one.humidity)}});
    for (const report::PitchLine& one : report.pitch)
        json["pitch"].push_back(
            {{"at", visit::to_text(one.at)}, {"a_hz", one.a.value()}, {"measured", one.measured}});
    return json;
}

Json report_json(const report::VisitReport& report) {
    Json json{{"organ", report.organ},
              {"place", report.place},
              {"visit", report.visit.id},
              {"started", visit::to_text(report.visit.started)}};
    json["ended"] = report.visit.ended ? Json(visit::to_text(*report.visit.ended)) : Json(nullptr);
    json["home_a_hz"] = or_null(report.home_a);
    json["home_temperature_c"] = or_null(report.home_air);
    json["temperament"] = report.temperament.empty() ? Json(nullptr) : Json(report.temperament);
    json["summary"] = report.summary;
    json["instrument_known"] = report.instrument_known;
    json.update(day_json(report));
    json["ranks"] = Json::array();
    for (const report::RankLines& rank : report.ranks)
        json["ranks"].push_back(rank_json(rank));
    json["not_tuned"] = reasons_json(report.not_tuned);
    json["found_off"] = reasons_json(report.found_off);
    json["not_heard"] = reasons_json(report.not_heard);
    json["faults"] = reasons_json(report.faults);
    json["last_visit"] =
        report.last_visit ? Json(visit::to_text(*report.last_visit)) : Json(nullptr);
    json["since_last_visit"] = report.drift;
    json["advice"] = report.advice;
    json["cautions"] = report.cautions;
    return json;
}

/// As the book remembers the visit's instrument file; empty when it doesn't, or can't be read.
std::optional<organ::Instrument> remembered(const storage::TuningBook& book,
                                            const visit::VisitRecord& visit) {
    const auto kept = book.instrument(visit.id);
    if (!kept || !*kept) return std::nullopt;
    auto instrument = storage::read_instrument((*kept)->text, visit.instrument_file);
    if (!instrument) return std::nullopt;
    return std::move(*instrument);
}

/// What the instrument file that was named, or the visit's own, describes; when that isn't there
/// any more or describes another organ, what the book remembers of it. Empty when it doesn't: the
/// report does without. Outer empty: said already.
std::optional<std::optional<organ::Instrument>> instrument_for(const storage::TuningBook& book,
                                                               const visit::VisitRecord& visit,
                                                               const std::string& named) {
    std::error_code ignored;
    std::string why = "isn't there";
    if (!named.empty() || std::filesystem::exists(visit.instrument_file, ignored)) {
        auto instrument = load_instrument_or_report(named.empty() ? visit.instrument_file : named);
        if (!instrument && !named.empty()) return std::nullopt;
        const bool fits = instrument && slug(instrument->name) == visit.organ;
        if (instrument && !fits)
            std::fprintf(stderr,
                         "rankwright: the instrument file describes \"%s\", the visit was at "
                         "\"%s\": the right one can be named with --instrument ORGAN.toml.\n",
                         instrument->name.c_str(), visit.organ_name.c_str());
        if (fits || !named.empty()) return instrument;
        why = instrument ? "describes another organ" : "has mistakes";
    }
    auto instrument = remembered(book, visit);
    std::fprintf(stderr,
                 instrument ? "rankwright: the visit's instrument file %s %s: what it said then is "
                              "taken from the book.\n"
                            : "rankwright: the visit's instrument file %s %s: pipes are named by "
                              "their numbers, and which are reeds isn't known. Name it with "
                              "--instrument ORGAN.toml.\n",
                 visit.instrument_file.empty() ? "(none was named)" : visit.instrument_file.c_str(),
                 why.c_str());
    return instrument;
}

ExitCode write_report(const ReportOptions& options) {
    const auto book = storage::TuningBook::open_existing(
        options.book.empty() ? storage::usual_book() : std::filesystem::path(options.book));
    if (!book) return report(book.error());
    const auto visit = find_visit(*book, options.which);
    if (!visit) return report(visit.error());
    const auto instrument = instrument_for(*book, *visit, options.instrument);
    if (!instrument) return kBadInput;
    const auto made = report_of(*book, *visit, *instrument ? &**instrument : nullptr);
    if (!made) return report(made.error());
    if (options.json) {
        std::cout << report_json(*made).dump(-1, ' ', false, Json::error_handler_t::replace)
                  << "\n";
        if (options.file.empty()) return kDone;
    }
    if (options.file == "-" && !options.json) {
        std::cout << report::to_html(*made);
        return kDone;
    }
    const std::string file = options.file.empty() ? report_file_name(*book, *visit) : options.file;
    if (const auto written = storage::write_durably(file, report::to_html(*made)); !written)
        return report(written.error());
    if (!options.json) std::printf("%s\n", file.c_str());
    return kDone;
}

}  // namespace

void add_report_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<ReportOptions>();
    CLI::App* command =
        app.add_subcommand("report", "Write the report of a visit: what was done, for the client");
    command->add_option("--organ", options->which.organ, "the latest visit at this organ");
    command->add_option("--visit", options->which.visit,
                        "this visit: its id, or the beginning of it (else the latest)");
    command->add_option("--book", options->book, "the tuning book (else the usual one)");
    command->add_option("-o,--output", options->file,
                        "the page to write (else ORGAN-DATE.html here; - for stdout)");
    command->add_option("--instrument", options->instrument,
                        "the instrument file (else the one the visit was begun with)");
    command->add_flag("--json", options->json, "one JSON object with the same content");
    command->callback([options, &code] { code = write_report(*options); });
}

}  // namespace rankwright::app

// `rankwright book`: what the tuning book holds.
#include "app/book_command.h"

#include "app/book_notes.h"
#include "app/columns.h"
#include "app/commands.h"
#include "app/json_output.h"
#include "core/nearest_word.h"
#include "core/text.h"
#include "storage/book_json.h"
#include "visit/wall_time.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <map>
#include <memory>
#include <set>
#include <utility>

namespace rankwright::app {

namespace {

using visit::BookedReading;
using visit::PipeFigures;

std::string day_of(visit::WallTime at) { return visit::to_text(at).substr(0, 10); }
std::string minute_of(visit::WallTime at) {
    std::string text = visit::to_text(at).substr(0, 16);
    text[10] = ' ';
    return text + " UTC";
}

Json time_json(const std::optional<visit::WallTime>& at) {
    return at ? Json(visit::to_text(*at)) : Json(nullptr);
}

Json booked_json(const BookedReading& one) {
    Json json{{"visit", one.visit}};
    json.update(storage::entry_json({one.serial, one.at, one.reading}));
    return json;
}

Json reading_or_null(const std::optional<BookedReading>& one) {
    return one ? booked_json(*one) : Json(nullptr);
}

void print_json(const Json& json) { std::cout << storage::to_line(json) << "\n"; }

std::string cents(const std::optional<BookedReading>& one) {
    if (!one) return "–";
    const visit::KeptReading& reading = one->reading;
    return text_of({reading.deviation.value() < 0.0 ? "" : "+",
                    decimal(reading.deviation.value(), 2), " ±",
                    decimal(reading.uncertainty.value(), 2)});
}

ExitCode nothing(const std::string& what) {
    return report({ErrorKind::nothing_heard, what, std::nullopt});
}

ExitCode show_organs(const BookOptions& options, const storage::TuningBook& book) {
    const auto organs = book.organs();
    if (!organs) return report(organs.error());
    if (options.json) {
        Json out{{"book", book.file().string()}, {"organs", Json::array()}};
        for (const visit::OrganRecord& organ : *organs)
            out["organs"].push_back({{"organ", organ.slug},
                                     {"name", organ.name},
                                     {"visits", organ.visits},
                                     {"last_visit", time_json(organ.last_visit)}});
        print_json(out);
    } else {
        for (const visit::OrganRecord& organ : *organs)
            std::printf("%s %s %s, the last on %s\n", padded(organ.slug, 24).c_str(),
                        padded(organ.name, 40).c_str(),
                        how_many(organ.visits, "visit", "visits").c_str(),
                        organ.last_visit ? day_of(*organ.last_visit).c_str() : "no day");
    }
    return organs->empty() ? nothing("the book has no organs yet") : kDone;
}

ExitCode show_visits(const BookOptions& options, const storage::TuningBook& book) {
    std::optional<std::string> organ;
    if (!options.organ.empty()) {
        const auto known = organ_of(book, options.organ);
        if (!known) return report(known.error());
        organ = *known;
    }
    const auto visits = book.visits(organ);
    if (!visits) return report(visits.error());
    if (options.json) {
        Json out{{"visits", Json::array()}};
        for (const visit::VisitRecord& visit : *visits) {
            Json json = storage::visit_json(visit);
            json["last_serial"] = visit.last_serial;
            out["visits"].push_back(std::move(json));
        }
        print_json(out);
    } else {
        for (const visit::VisitRecord& visit : *visits)
            std::printf("%s  %s  %s  %6llu entries  %s%s\n", visit.id.c_str(),
                        minute_of(visit.started).c_str(), visit.ended ? "over" : "open",
                        static_cast<unsigned long long>(visit.last_serial),
                        visit.organ_name.c_str(),
                        visit.branch_of.empty()
                            ? ""
                            : ("  (goes on from " + visit.branch_of + " otherwise)").c_str());
    }
    return visits->empty() ? nothing("the book has no visits there yet") : kDone;
}

/// Whether a pipe is of the stop that is asked for, as Stop or Division/Stop, in the words of the
/// ids or as people write them.
bool of_stop(const PipeId& pipe, const std::string& wanted) {
    if (wanted.empty() || slug(wanted) == pipe.stop) return true;
    for (auto slash = wanted.find('/'); slash != std::string::npos;
         slash = wanted.find('/', slash + 1))
        if (slug(wanted.substr(0, slash)) == pipe.division &&
            slug(wanted.substr(slash + 1)) == pipe.stop)
            return true;
    return false;
}

std::string stop_of(const PipeId& pipe) { return pipe.division + "/" + pipe.stop; }

using Notes = std::map<PipeId, PipeNotes>;

/// "proposed; ciphers, slow of speech"; empty where nothing is noted.
std::string words_of(const PipeNotes& notes) {
    std::string words = notes.list ? storage::to_word(*notes.list) : "";
    for (std::size_t i = 0; i < notes.faults.size(); ++i)
        words += (i > 0 ? ", " : words.empty() ? "" : "; ") + notes.faults[i].fault;
    return words;
}

void print_figures(const std::vector<PipeFigures>& figures, const Notes& notes) {
    std::string heading;
    for (const PipeFigures& one : figures) {
        if (const std::string now = stop_of(one.pipe); now != heading) {
            heading = now;
            std::printf("\n%s (cents)\n", heading.c_str());
            std::printf("   key  %s%s%s%snoted\n", padded("survey", 18).c_str(),
                        padded("found", 18).c_str(), padded("left", 18).c_str(),
                        padded("visit", 12).c_str());
        }
        const auto& latest = one.after ? one.after : one.before ? one.before : one.survey;
        const std::string row = one.pipe.row > 1 ? "/" + std::to_string(one.pipe.row) : "";
        const auto noted = notes.find(one.pipe);
        std::printf("  %4d%s  %s%s%s%s%s\n", one.pipe.key, row.c_str(),
                    padded(cents(one.survey), 18).c_str(), padded(cents(one.before), 18).c_str(),
                    padded(cents(one.after), 18).c_str(),
                    padded(latest ? day_of(latest->at) : "", 12).c_str(),
                    noted == notes.end() ? "" : words_of(noted->second).c_str());
    }
}

/// A dead pipe has no figure, but it is known to be dead.
void print_faults(const Notes& notes) {
    bool any = false;
    for (const auto& [pipe, noted] : notes)
        for (const visit::Fault& fault : noted.faults) {
            std::printf("%s  %s  %s%s%s\n", any ? "" : "\nFaults:\n",
                        padded(to_string(pipe), 28).c_str(), fault.fault.c_str(),
                        fault.words.empty() ? "" : ": ", fault.words.c_str());
            any = true;
        }
}

Json notes_json(const Notes& notes) {
    Json faults = Json::array();
    Json list = Json::array();
    for (const auto& [pipe, noted] : notes) {
        for (const visit::Fault& fault : noted.faults)
            faults.push_back(
                {{"pipe", to_string(pipe)}, {"fault", fault.fault}, {"words", fault.words}});
        if (noted.list)
            list.push_back({{"pipe", to_string(pipe)}, {"state", storage::to_word(*noted.list)}});
    }
    return {{"faults", std::move(faults)}, {"list", std::move(list)}};
}

ExitCode show_readings(const BookOptions& options, const std::string& stop,
                       const storage::TuningBook& book) {
    Result<std::vector<PipeFigures>> figures;
    std::set<std::string> visits;
    if (options.visit.empty()) {
        const auto organ = organ_of(book, options.organ);
        if (!organ) return report(organ.error());
        figures = book.last_figures(*organ);
    } else {
        const auto visit = visit_of(book, options.visit);
        if (!visit) return report(visit.error());
        figures = book.figures(*visit);
        visits.insert(*visit);
    }
    if (!figures) return report(figures.error());
    figures->erase(std::remove_if(figures->begin(), figures->end(),
                                  [&](const PipeFigures& one) { return !of_stop(one.pipe, stop); }),
                   figures->end());
    for (const PipeFigures& one : *figures)
        visits.insert(one.visit);
    auto notes = notes_of(book, visits);
    if (!notes) return report(notes.error());
    std::erase_if(*notes, [&](const auto& one) { return !of_stop(one.first, stop); });
    if (options.json) {
        Json out{{"pipes", Json::array()}};
        for (const PipeFigures& one : *figures)
            out["pipes"].push_back({{"pipe", to_string(one.pipe)},
                                    {"visit", one.visit},
                                    {"survey", reading_or_null(one.survey)},
                                    {"before", reading_or_null(one.before)},
                                    {"after", reading_or_null(one.after)}});
        out.update(notes_json(*notes));
        print_json(out);
    } else {
        print_figures(*figures, *notes);
        print_faults(*notes);
    }
    return figures->empty() ? nothing("the book has no readings there") : kDone;
}

ExitCode show_history(const BookOptions& options, const std::string& name,
                      const storage::TuningBook& book) {
    const auto pipe = parse_pipe_id(name);
    if (!pipe)
        return report({ErrorKind::bad_input,
                       text_of({"\"", name,
                                "\" names no pipe: write division/stop/row/key, as `book readings "
                                "--json` does, like great/octave-4/1/25"}),
                       std::nullopt});
    const auto organ = organ_of(book, options.organ);
    if (!organ) return report(organ.error());
    const auto history = book.history(*organ, *pipe);
    if (!history) return report(history.error());
    if (options.json) {
        Json out{{"organ", *organ}, {"pipe", to_string(*pipe)}, {"readings", Json::array()}};
        for (const BookedReading& one : *history)
            out["readings"].push_back(booked_json(one));
        print_json(out);
    } else {
        for (const BookedReading& one : *history) {
            const visit::KeptReading& reading = one.reading;
            std::printf(
                "%s  %s  %s cents  %10.3f Hz of %10.3f%s%s\n", minute_of(one.at).c_str(),
                padded(storage::to_word(reading.moment), 6).c_str(), padded(cents(one), 16).c_str(),
                reading.pitch.value(), reading.target.value(),
                reading.air ? ("  " + decimal(reading.air->value(), 1) + " °C").c_str() : "",
                reading.reference ? ("  from " + to_string(*reading.reference)).c_str() : "");
        }
    }
    return history->empty() ? nothing("the book has no reading of that pipe") : kDone;
}

/// A subcommand with the options that all have.
CLI::App* add_subcommand(CLI::App& book, const char* name, const char* what,
                         const std::shared_ptr<BookOptions>& options) {
    CLI::App* command = book.add_subcommand(name, what);
    add_book_options(*command, *options);
    return command;
}

constexpr const char* kOrganHelp = "the organ; needn't be said when the book has only one";

}  // namespace

void add_book_options(CLI::App& command, BookOptions& options) {
    command.add_option("--book", options.book,
                       "the book's file; usually " + storage::usual_book().string());
    command.add_flag("--json", options.json, "one JSON object");
}

std::filesystem::path book_file(const BookOptions& options) {
    return options.book.empty() ? storage::usual_book() : std::filesystem::path(options.book);
}

std::string where_no_book(const BookOptions& options) {
    std::error_code ignored;
    if (options.book.empty() || std::filesystem::exists(options.book, ignored)) return {};
    return " (there is no book " + options.book + ": check its name)";
}

ExitCode with_book(const BookOptions& options,
                   const std::function<ExitCode(storage::TuningBook&)>& work) {
    std::error_code ignored;
    if (options.book.empty() && !std::filesystem::exists(storage::usual_book(), ignored))
        return nothing("there is no tuning book yet: the first visit begins it, in " +
                       storage::usual_book().string());
    auto book = storage::TuningBook::open_existing(book_file(options));
    if (!book) return report(book.error());
    return work(*book);
}

Result<std::string> organ_of(const storage::TuningBook& book, const std::string& name) {
    // Mostly it is named rightly: then the others needn't be read.
    if (const auto latest = book.latest_visit(slug(name)); latest && *latest) return slug(name);
    const auto organs = book.organs();
    if (!organs) return tl::unexpected<Error>(organs.error());
    std::vector<std::string> known;
    std::string list;
    for (const visit::OrganRecord& organ : *organs) {
        if (slug(name) == organ.slug || name == organ.name) return organ.slug;
        known.push_back(organ.slug);
        list += (list.empty() ? "" : ", ") + organ.slug;
    }
    if (name.empty() && known.size() == 1) return known.front();
    if (known.empty()) return fail(ErrorKind::nothing_heard, "the book has no organs yet");
    if (name.empty())
        return fail(ErrorKind::bad_input, "which organ? Name one with --organ: " + list);
    const auto nearest = nearest_word(slug(name), known);
    return fail(ErrorKind::not_found, text_of({"the book has no organ \"", name, "\"",
                                               nearest ? "; did you mean " + *nearest + "?"
                                                       : "; `rankwright book organs` lists them"}));
}

Result<std::string> visit_of(const storage::TuningBook& book, const std::string& beginning) {
    const auto found = book.visits_named(beginning);
    if (!found) return tl::unexpected<Error>(found.error());
    if (found->size() == 1) return found->front().id;
    return fail(
        found->empty() ? ErrorKind::not_found : ErrorKind::bad_input,
        text_of({found->empty() ? "the book has no visit \"" : "several visits begin with \"",
                 beginning, "\": `rankwright book visits` lists them"}));
}

void add_book_command(CLI::App& app, ExitCode& code) {
    CLI::App* book = app.add_subcommand("book", "Look into the tuning book, and look after it");
    book->require_subcommand(1);
    auto options = std::make_shared<BookOptions>();

    CLI::App* organs = add_subcommand(*book, "organs", "The organs in the book", options);
    organs->callback([options, &code] {
        code = with_book(*options, [&](auto& opened) { return show_organs(*options, opened); });
    });

    CLI::App* visits = add_subcommand(*book, "visits", "The visits, by their days", options);
    visits->add_option("--organ", options->organ, "only of this organ");
    visits->callback([options, &code] {
        code = with_book(*options, [&](auto& opened) { return show_visits(*options, opened); });
    });

    CLI::App* readings = add_subcommand(
        *book, "readings", "How each pipe was found and left, at its last visit", options);
    readings->add_option("--organ", options->organ, kOrganHelp);
    readings->add_option("--visit", options->visit,
                         "at this visit; the beginning of its id will do");
    auto stop = std::make_shared<std::string>();
    readings->add_option("--stop", *stop, "only this stop: Stop or Division/Stop");
    readings->callback([options, stop, &code] {
        code = with_book(*options,
                         [&](auto& opened) { return show_readings(*options, *stop, opened); });
    });

    CLI::App* history =
        add_subcommand(*book, "history", "All readings of one pipe, over the years", options);
    history->add_option("--organ", options->organ, kOrganHelp);
    auto pipe = std::make_shared<std::string>();
    history->add_option("PIPE", *pipe, "division/stop/row/key, like great/octave-4/1/25")
        ->required();
    history->callback([options, pipe, &code] {
        code = with_book(*options,
                         [&](auto& opened) { return show_history(*options, *pipe, opened); });
    });

    add_book_file_commands(*book, code);
}

}  // namespace rankwright::app

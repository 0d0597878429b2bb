// `rankwright book export`, `import`, `merge`, `backup` and `check`.
#include "app/book_command.h"
#include "app/json_output.h"
#include "core/text.h"
#include "storage/book_exchange.h"

#include <cstdio>
#include <filesystem>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

/// Says how much went where.
ExitCode say(const BookOptions& options, const Result<storage::Moved>& moved, const char* where,
             const std::string& file) {
    if (!moved) return report(moved.error());
    if (options.json)
        std::cout << Json{{"file", file}, {"visits", moved->visits}, {"entries", moved->entries}}
                         .dump(-1, ' ', false, Json::error_handler_t::replace)
                  << "\n";
    else
        std::printf("%s %s: %s, %s\n", where, file.c_str(),
                    how_many(moved->visits, "visit", "visits").c_str(),
                    where[0] == 'w' ? how_many(moved->entries, "entry", "entries").c_str()
                                    : how_many(moved->entries, "new entry", "new entries").c_str());
    return kDone;
}

ExitCode export_book(const BookOptions& options, const std::string& file,
                     const storage::TuningBook& book) {
    const std::string kind = std::filesystem::path(file).extension().string();
    if (kind != ".csv" && kind != ".json")
        return report({ErrorKind::bad_input,
                       "\"" + file + "\" ends neither with .csv nor with .json: name it so",
                       std::nullopt});
    storage::Selection selection;
    if (!options.organ.empty()) {
        auto organ = organ_of(book, options.organ);
        if (!organ) return report(organ.error());
        selection.organ = *organ;
    }
    if (!options.visit.empty()) {
        auto visit = visit_of(book, options.visit);
        if (!visit) return report(visit.error());
        selection.visit = *visit;
    }
    const auto moved = kind == ".csv" ? storage::export_csv(book, file, selection)
                                      : storage::export_json(book, file, selection);
    return say(options, moved, "written to", file);
}

/// The book that entries go into is begun when there is none.
ExitCode into_book(const BookOptions& options,
                   const std::function<ExitCode(storage::TuningBook&)>& work) {
    auto book = storage::TuningBook::open(book_file(options));
    if (!book) return report(book.error());
    return work(*book);
}

ExitCode merge_books(const BookOptions& options, const std::string& file) {
    const auto other = storage::TuningBook::open_existing(file);
    if (!other) return report(other.error());
    return into_book(options, [&](storage::TuningBook& book) {
        return say(options, storage::merge(book, *other), "merged from", file);
    });
}

ExitCode back_up(const BookOptions& options, const std::string& file,
                 const storage::TuningBook& book) {
    if (const auto done = storage::backup(book, file); !done) return report(done.error());
    if (options.json)
        std::cout << Json{{"file", file}}.dump(-1, ' ', false, Json::error_handler_t::replace)
                  << "\n";
    else
        std::printf("%s holds a sound copy of %s\n", file.c_str(), book.file().c_str());
    return kDone;
}

ExitCode check_book(const BookOptions& options, const storage::TuningBook& book) {
    const auto faults = storage::faults_of(book);
    if (!faults) return report(faults.error());
    if (options.json)
        std::cout << Json{{"book", book.file().string()}, {"faults", *faults}}.dump(
                         -1, ' ', false, Json::error_handler_t::replace)
                  << "\n";
    for (const std::string& fault : *faults)
        report({ErrorKind::bad_input, fault, Place{book.file().string()}});
    if (faults->empty() && !options.json) std::printf("%s is sound\n", book.file().c_str());
    return faults->empty() ? kDone : kBadInput;
}

/// A subcommand with a file for its only argument.
CLI::App* add_file_command(CLI::App& book, const char* name, const char* what,
                           const std::shared_ptr<BookOptions>& options,
                           const std::shared_ptr<std::string>& file, const char* file_help) {
    CLI::App* command = book.add_subcommand(name, what);
    add_book_options(*command, *options);
    command->add_option("FILE", *file, file_help)->required();
    return command;
}

}  // namespace

void add_book_file_commands(CLI::App& book, ExitCode& code) {
    auto options = std::make_shared<BookOptions>();
    auto file = std::make_shared<std::string>();

    CLI::App* exported =
        add_file_command(book, "export", "Write all entries to a file", options, file,
                         "a name ending with .csv or .json; JSON can be imported again");
    exported->add_option("--organ", options->organ, "only of this organ");
    exported->add_option("--visit", options->visit,
                         "only of this visit; the beginning of its id will do");
    exported->callback([options, file, &code] {
        code =
            with_book(*options, [&](auto& opened) { return export_book(*options, *file, opened); });
    });

    add_file_command(book, "import", "Take in the entries of an exported or rescued file", options,
                     file, "a .json file")
        ->callback([options, file, &code] {
            code = into_book(*options, [&](auto& opened) {
                return say(*options, storage::import_json(opened, *file), "taken in from", *file);
            });
        });
    add_file_command(book, "merge", "Take in what another book has and this one hasn't", options,
                     file, "the other book")
        ->callback([options, file, &code] { code = merge_books(*options, *file); });
    add_file_command(book, "backup", "Copy the book, also while it is in use", options, file,
                     "a new file")
        ->callback([options, file, &code] {
            code =
                with_book(*options, [&](auto& opened) { return back_up(*options, *file, opened); });
        });

    CLI::App* check = book.add_subcommand("check", "Find out whether the book is sound and whole");
    add_book_options(*check, *options);
    check->callback([options, &code] {
        code = with_book(*options, [&](auto& opened) { return check_book(*options, opened); });
    });
}

}  // namespace rankwright::app

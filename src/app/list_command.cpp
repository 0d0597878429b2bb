// `rankwright list`: which pipes are to be tuned, and why; and what the technician changes there.
#include "app/book_command.h"
#include "app/columns.h"
#include "app/commands.h"
#include "app/json_output.h"
#include "app/pipe_name.h"
#include "app/visit_book.h"
#include "app/visit_list.h"
#include "core/text.h"
#include "storage/at_work.h"
#include "storage/book_json.h"
#include "visit/record.h"
#include "visit/wall_time.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

struct ListOptions {
    std::string organ;
    BookOptions book;
    std::string order = "audible";
    std::vector<std::string> want, drop, out_of_reach, within_reach;
    std::string complaint;
    std::string stop, key;

    bool edits() const {
        return !want.empty() || !drop.empty() || !out_of_reach.empty() || !within_reach.empty() ||
               !complaint.empty();
    }
};

/// What the options ask to be noted.
Result<std::vector<visit::BookMatter>> edits_of(const ListOptions& options,
                                                const organ::Instrument& instrument) {
    std::vector<visit::BookMatter> edits;
    std::optional<Error> wrong;
    const auto each = [&](const std::vector<std::string>& names, const auto& matter) {
        for (const std::string& name : names) {
            const auto pipes = find_pipes(instrument, name);
            if (!pipes) {
                if (!wrong) wrong = pipes.error();
                continue;
            }
            for (const organ::Pipe& pipe : *pipes)
                edits.emplace_back(matter(pipe.id));
        }
    };
    using visit::ListChange, visit::ListState, visit::OutOfReach;
    each(options.want, [](const PipeId& id) { return ListChange{id, ListState::wanted}; });
    each(options.drop, [](const PipeId& id) { return ListChange{id, ListState::dropped}; });
    each(options.out_of_reach, [](const PipeId& id) { return OutOfReach{id, true}; });
    each(options.within_reach, [](const PipeId& id) { return OutOfReach{id, false}; });
    if (wrong) return tl::unexpected(*wrong);
    if (options.complaint.empty()) {
        if (!options.stop.empty() || !options.key.empty())
            return fail(ErrorKind::bad_input,
                        "--stop and --key say what a complaint is about: add --complaint \"…\"");
        return edits;
    }
    visit::Remark remark{{}, {}, options.complaint, true};
    if (options.stop.empty() && !options.key.empty())
        return fail(ErrorKind::bad_input, "a key of which stop? Name it with --stop");
    if (!options.stop.empty()) {
        const auto stop = organ::find_stop(instrument, options.stop);
        if (!stop) return tl::unexpected(stop.error());
        remark.stop = StopId{stop->division->id, stop->stop->id};
        if (!options.key.empty()) {
            const auto key = find_key(*stop, options.key);
            if (!key) return tl::unexpected(key.error());
            remark.key = *key;
        }
    }
    edits.emplace_back(std::move(remark));
    return edits;
}

/// Into the visit that isn't over, or into one that begins with it.
Result<void> write_edits(const std::filesystem::path& file, const organ::Instrument& instrument,
                         const std::string& instrument_file, std::vector<visit::BookMatter> edits) {
    const auto at_work = storage::AtWork::begin(file, slug(instrument.name));
    if (!at_work) return tl::unexpected(at_work.error());
    auto book = storage::TuningBook::open(file);
    if (!book) return tl::unexpected(book.error());
    const auto open = book->open_visit(slug(instrument.name));
    if (!open) return tl::unexpected(open.error());
    visit::VisitRecord visit = open->value_or(visit_begun_now(instrument, instrument_file));
    visit.instrument = instrument_now(instrument_file);
    if (auto begun = book->begin_visit(visit); !begun) return begun;
    const auto earlier = book->entries(visit.id);
    if (!earlier) return tl::unexpected(earlier.error());
    visit::Record record(*earlier);
    for (visit::BookMatter& edit : edits)
        record.add(visit::wall_now(), std::move(edit));
    const auto written = book->append(visit.id, record.take_owed());
    if (!written) return tl::unexpected(written.error());
    return {};
}

Json pipe_json(const visit::ListedPipe& one) {
    return {{"pipe", to_string(one.pipe.id)},
            {"division", one.pipe.division},
            {"stop", one.pipe.stop},
            {"key", one.pipe.key},
            {"note", one.pipe.note},
            {"row", one.pipe.id.row},
            {"state", storage::to_word(one.state)},
            {"out_of_reach", one.out_of_reach},
            {"to_do", one.to_do()},
            {"complaint", one.complaint},
            {"cents", or_null(one.off)},
            {"audibility", one.audibility},
            {"why", one.why}};
}

/// In the order that was asked for; those without work left come last in either.
std::vector<visit::ListedPipe> ordered(const organ::Instrument& instrument,
                                       const visit::WorkList& list, bool for_the_feet) {
    if (!for_the_feet) return list.pipes;
    std::vector<visit::ListedPipe> out;
    for (const organ::Pipe& pipe : visit::for_the_feet(instrument, list))
        out.push_back(*std::find_if(list.pipes.begin(), list.pipes.end(),
                                    [&](const auto& one) { return one.pipe.id == pipe.id; }));
    for (const visit::ListedPipe& one : list.pipes)
        if (!one.to_do()) out.push_back(one);
    return out;
}

void print_list(const organ::Instrument& instrument, const visit::WorkList& list,
                const std::vector<visit::ListedPipe>& pipes) {
    std::printf("%s: %zu to do, %zu done\n", instrument.name.c_str(), list.to_do(), list.done);
    for (const std::string& remark : list.remarks)
        std::printf("  %s\n", remark.c_str());
    std::size_t widest = 0;
    for (const visit::ListedPipe& one : pipes)
        widest = std::max(widest, one.pipe.division.size() + one.pipe.stop.size() + 3);
    for (const visit::ListedPipe& one : pipes) {
        const std::string key =
            text_of({one.pipe.note, " (", std::to_string(one.pipe.key),
                     one.pipe.id.row > 1 ? ", row " + std::to_string(one.pipe.id.row) : "", ")"});
        std::string why;
        for (const std::string& words : one.why)
            why += (why.empty() ? "" : "; ") + words;
        std::printf("%s %s  %s  %s\n", one.to_do() ? " " : "–",
                    padded(one.pipe.division + " · " + one.pipe.stop, widest).c_str(),
                    padded(key, 22).c_str(), why.c_str());
    }
}

ExitCode work_list(const ListOptions& options) {
    const auto instrument = load_instrument_or_report(options.organ);
    if (!instrument) return kBadInput;
    auto edits = edits_of(options, *instrument);
    if (!edits) return report(edits.error());
    const std::filesystem::path file = book_file(options.book);
    if (!edits->empty()) {
        const auto written =
            write_edits(file, *instrument, std::filesystem::absolute(options.organ).string(),
                        std::move(*edits));
        if (!written) return report(written.error());
    }
    const auto found = list_in(file, *instrument);
    if (!found) return report(found.error());
    const visit::WorkList& list = found->list;
    const auto pipes = ordered(*instrument, list, options.order == "feet");
    if (options.book.json) {
        Json out{{"organ", instrument->name}};
        out["visit"] = found->visit ? Json(found->visit->id) : Json(nullptr);
        out["to_do"] = list.to_do();
        out["done"] = list.done;
        out["remarks"] = list.remarks;
        out["pipes"] = Json::array();
        for (const visit::ListedPipe& one : pipes)
            out["pipes"].push_back(pipe_json(one));
        std::cout << storage::to_line(out) << "\n";
    } else {
        print_list(*instrument, list, pipes);
    }
    if (!pipes.empty() || options.edits()) return kDone;
    return report({ErrorKind::nothing_heard,
                   "nothing is on the list" + where_no_book(options.book) +
                       ": let the ranks be played through first, or put pipes on it with --want",
                   std::nullopt});
}

}  // namespace

void add_list_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<ListOptions>();
    CLI::App* command =
        app.add_subcommand("list", "Which pipes are to be tuned on this visit, and why");
    command->add_option("ORGAN", options->organ, "an instrument file (TOML)")->required();
    add_book_options(*command, options->book);
    command
        ->add_option("--order", options->order,
                     "audible: what is heard most first (default); feet: as one walks")
        ->check(CLI::IsMember({"audible", "feet"}));
    constexpr const char* kPipe = "PIPE";
    command->add_option("--want", options->want, "put this pipe on the list; may be repeated")
        ->type_name(kPipe);
    command->add_option("--drop", options->drop, "take it off")->type_name(kPipe);
    command->add_option("--out-of-reach", options->out_of_reach, "it can't be reached")
        ->type_name(kPipe);
    command->add_option("--within-reach", options->within_reach, "it can again")->type_name(kPipe);
    command->add_option("--complaint", options->complaint, "what the client complains of, in words")
        ->type_name("WORDS");
    command->add_option("--stop", options->stop, "… about this stop");
    command->add_option("--key", options->key, "… and this key of it: its number or name");
    command->callback([options, &code] { code = work_list(*options); });
}

}  // namespace rankwright::app

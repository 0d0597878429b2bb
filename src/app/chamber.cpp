#include "app/chamber.h"

#include "app/book_desk.h"
#include "app/interrupt.h"
#include "app/last_visit.h"
#include "app/reading_log.h"
#include "app/session.h"
#include "app/simulated_chamber.h"
#include "app/stay_awake.h"
#include "app/technician.h"
#include "app/visit_book.h"
#include "app/visit_pages.h"
#include "capture/live_source.h"
#include "capture/recording_source.h"
#include "core/aside.h"
#include "core/thread_role.h"
#include "organ/tuning_order.h"
#include "storage/tuning_book.h"

#include <chrono>
#include <cstdio>
#include <memory>

namespace rankwright::app {

namespace {

struct Input {
    std::unique_ptr<capture::Source> source;
    Console console;
};

Result<Input> open_input(const organ::Instrument& instrument, const ChamberOptions& options) {
    if (options.input == "simulated") {
        simulator::Chamber::Parameters parameters;
        parameters.seed = options.seed;
        parameters.temperature = options.day.temperature.value_or(instrument.at);
        SimulatedChamber chamber = simulate_chamber(instrument, parameters);
        return Input{std::move(chamber.source), std::move(chamber.console)};
    }
    if (options.input == "mic") {
        capture::LiveOptions live;
        live.device = options.device;
        return Input{capture::open_live(live), {}};
    }
    auto recording =
        capture::open_recording(options.input, {.paced = true, .channel = options.channel});
    if (!recording) return tl::unexpected(recording.error());
    return Input{std::move(*recording), {}};
}

/// Null where nothing is to be kept.
Result<std::unique_ptr<VisitBook>> open_book(const organ::Instrument& instrument,
                                             const ChamberOptions& options) {
    VisitBook::Options wanted{options.book, options.organ_file, options.new_visit};
    if (options.book.empty() && options.input == "simulated") {
        // Practice isn't the organ's history; and its pipes are out of tune anew each time.
        wanted.file = storage::usual_book().replace_filename("simulated.sqlite");
        wanted.new_visit = wanted.throwaway = !options.run.only_listed;
    } else if (options.book.empty() && options.input == "mic") {
        wanted.file = storage::usual_book();
    }
    if (wanted.file.empty()) return nullptr;
    return VisitBook::open(instrument, wanted);
}

/// What is made of the tuning book by a key, beside the window: pages, and what is done with all of
/// it.
class BookKeys {
  public:
    BookKeys(VisitPages pages, const std::filesystem::path& book)
        : pages_([pages = std::move(pages)](visit::WritePage::What what) {
              return pages.write(what);
          }),
          desk_(book) {}

    /// True when the command was for the book.
    bool take(const visit::Command& command) {
        if (const auto* page = std::get_if<visit::WritePage>(&command)) {
            pages_.ask(page->what);
            return true;
        }
        const auto* deed = std::get_if<visit::CareForBook>(&command);
        if (deed != nullptr) desk_.ask(*deed);
        return deed != nullptr;
    }
    void show(overlay::Snapshot& snapshot, Seconds now) {
        constexpr Seconds kToBeRead{12.0};
        if (auto said = pages_.answer()) {
            said_ = std::move(*said);
            said_at_ = now;
        }
        if (now - said_at_ < kToBeRead) snapshot.page_written = said_;
        snapshot.tuning_book = desk_.view();
    }

  private:
    Aside<visit::WritePage::What, std::string> pages_;
    BookDesk desk_;
    std::string said_;
    Seconds said_at_{0.0};
};

ExitCode work(Session& session, Window& window, const ChamberOptions& options, BookKeys& book) {
    std::optional<ScreenReader> technician;
    if (options.simulated_technician) technician.emplace(options.seed);
    ReadingLog log(options.json ? ReadingLog::Form::json : ReadingLog::Form::words);
    StayAwake awake;
    const auto began = std::chrono::steady_clock::now();
    for (;;) {
        const Seconds now = std::chrono::steady_clock::now() - began;
        overlay::Snapshot snapshot = session.snapshot();
        if (!awake.granted())
            snapshot.notices.push_back(
                {false,
                 "This computer may fall asleep during the work: turn that off in its settings."});
        book.show(snapshot, now);
        // A recording's organ is no longer to be looked after.
        snapshot.ask_checks = snapshot.ask_checks && options.input == "mic";
        std::vector<visit::Command> commands;
        const bool open = window.frame(snapshot, commands);
        for (const visit::Command& command : commands)
            if (!book.take(command)) session.post(command);
        if (technician)
            if (const auto command = technician->look(snapshot, now)) session.post(*command);
        if (options.print || options.json) log.add(snapshot, now);
        const bool over = options.lasting && now >= *options.lasting;
        if (!open || over || interrupted() || session.wants_to_quit()) break;
    }
    if (options.screenshot.empty()) return kDone;
    const auto saved = window.screenshot(options.screenshot);
    return saved ? kDone : report(saved.error());
}

}  // namespace

Result<organ::StopRef> choose_stop(const organ::Instrument& instrument, const std::string& name) {
    Result<organ::StopRef> chosen =
        fail(ErrorKind::bad_input, "this instrument has no pipes to tune");
    if (!name.empty()) {
        chosen = organ::find_stop(instrument, name);
    } else if (instrument.bearings) {
        chosen =
            organ::stop_by_id(instrument, instrument.bearings->division, instrument.bearings->stop);
    } else {
        for (const organ::Division& division : instrument.divisions)
            for (const organ::Stop& stop : division.stops)
                if (!chosen) chosen = organ::StopRef{&division, &stop, &instrument};
    }
    if (chosen && organ::pipes(*chosen).empty())
        return fail(ErrorKind::bad_input,
                    "that stop has no pipes to tune; choose another with --stop");
    return chosen;
}

Result<std::vector<StopId>> stops_to_work_at(const organ::Instrument& instrument,
                                             const std::vector<std::string>& names) {
    std::vector<StopId> ids;
    for (const std::string& name : names) {
        if (name == "all") {
            for (const organ::StopRef& ref : organ::tuning_order(instrument))
                if (!ref.stop->mixture()) ids.push_back({ref.division->id, ref.stop->id});
            continue;
        }
        const auto stop = choose_stop(instrument, name);
        if (!stop) return tl::unexpected(stop.error());
        ids.push_back({stop->division->id, stop->stop->id});
    }
    return ids;
}

ExitCode work_at(const organ::Instrument& instrument, const organ::StopRef& stop,
                 const ChamberOptions& options, std::unique_ptr<Window> window) {
    set_thread_role(ThreadRole::window);
    if (options.simulated_technician && options.input != "simulated")
        return report(
            {ErrorKind::bad_input,
             "a simulated technician can only move simulated pipes: add --input simulated",
             std::nullopt});
    auto input = open_input(instrument, options);
    if (!input) return report(input.error());
    const auto book = open_book(instrument, options);
    if (!book) return report(book.error());
    visit::RunOptions run = options.run;
    if (*book) run.history = (*book)->history(instrument);
    BookKeys book_keys{
        *book ? VisitPages{instrument, (*book)->file(), [&kept = **book] { return kept.id(); }}
              : VisitPages{instrument, {}, {}},
        *book ? (*book)->file() : std::filesystem::path()};
    if (run.only_listed) {
        const auto entries = *book ? (*book)->record().entries() : std::vector<visit::BookEntry>{};
        if (visit::work_list(instrument, entries, run.history).to_do() == 0)
            return report({ErrorKind::nothing_heard,
                           "nothing is on the list: `rankwright list` shows and changes it",
                           std::nullopt});
    }
    if (!window) {
        auto opened = Window::open({});
        if (!opened) return report(opened.error());
        window = std::move(*opened);
    }
    const auto remember = [&](const StopId& id, const std::string& words) {
        if (options.organ_file.empty()) return;
        save_last_visit({options.organ_file, instrument.name, id.division + "/" + id.stop, words,
                         options.input, options.device});
    };
    remember({stop.division->id, stop.stop->id}, stop.division->name + " · " + stop.stop->name);
    catch_interrupts();
    auto last_time = *book && options.run.job == visit::Job::survey ? (*book)->last_time()
                                                                    : SurveyWork::LastTime{};
    Session session(
        std::move(input->source),
        std::make_unique<Work>(instrument, stop, options.day, std::move(run),
                               std::move(input->console), *book ? (*book)->book() : Book{},
                               *book ? (*book)->record() : visit::Record{}, MixtureEar::When::aside,
                               std::move(last_time)));
    const ExitCode code = work(session, *window, options, book_keys);
    window.reset();  // what is being done with the book goes on until it is done
    const overlay::Snapshot last = session.snapshot();
    for (const overlay::StopChoice& choice : last.stops)
        if (choice.current) remember(choice.id, last.stop);
    return code;
}

}  // namespace rankwright::app

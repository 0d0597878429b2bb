#include "app/survey_book.h"

#include "visit/survey_keeper.h"
#include "visit/wall_time.h"

#include <chrono>
#include <thread>

namespace rankwright::app {

namespace {

/// Waits until the book has it all, some seconds at most; says what is in the way.
std::string wait_for(const Book& book, std::uint64_t last_serial) {
    using namespace std::chrono_literals;
    const auto end = std::chrono::steady_clock::now() + 5s;
    while (book.acknowledged() < last_serial && std::chrono::steady_clock::now() < end) {
        if (std::string trouble = book.trouble(); !trouble.empty()) return trouble;
        std::this_thread::sleep_for(5ms);
    }
    if (book.acknowledged() >= last_serial) return {};
    return "the disk is slow: what the tuning book doesn't have yet is tried once more on leaving";
}

}  // namespace

Result<KeptSurvey> keep_survey(const organ::Instrument& instrument,
                               const visit::SurveyedStop& survey,
                               const std::vector<visit::Finding>& findings, const organ::Day& day,
                               const VisitBook::Options& options) {
    const auto opened = VisitBook::open(instrument, options);
    if (!opened) return tl::unexpected(opened.error());
    KeptSurvey kept{(*opened)->last_time(), visit::why_not_kept(survey.result)};
    visit::Run run(instrument, survey.stop, day, {visit::Job::survey}, (*opened)->record());
    run.tell_time({Seconds{0.0}, visit::wall_now()});
    if (kept.why_not.empty()) run.note_day();
    visit::SurveyKeeper(run).keep_all(survey, findings);
    const Book book = (*opened)->book();
    for (visit::BookEntry& entry : run.take_owed())
        book.post(std::move(entry));
    if (std::string trouble = wait_for(book, run.record().entries().size()); !trouble.empty())
        return fail(ErrorKind::storage, std::move(trouble));
    return kept;
}

}  // namespace rankwright::app

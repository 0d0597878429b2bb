#include "app/survey_snapshot.h"

#include "visit/survey_words.h"

#include <algorithm>
#include <map>
#include <string>
#include <vector>

namespace rankwright::app {

namespace {

using overlay::Snapshot;
using View = overlay::SurveyView;

View::Stage stage_of(SurveyWork::Stage stage) {
    switch (stage) {
        case SurveyWork::Stage::playing:
            return View::Stage::playing;
        case SurveyWork::Stage::working_out:
            return View::Stage::working_out;
        case SurveyWork::Stage::done:
            break;
    }
    return View::Stage::done;
}

std::optional<Cents> last_time(const SurveyWork& work, const PipeId& pipe) {
    const auto known = work.last_time().find(pipe);
    if (known == work.last_time().end()) return std::nullopt;
    return known->second.deviation;
}

// More than a handful can't be read from the ladder, as when one side is played before the other.
std::string missing_words(const std::vector<organ::Pipe>& missing) {
    constexpr int kReadable = 5;
    std::string notes = visit::notes_of(missing);
    if (std::count(notes.begin(), notes.end(), ',') < kReadable) return notes;
    return std::to_string(missing.size()) + " keys, the lowest " + missing.front().note;
}

void fill_latest(Snapshot& out, const std::optional<SurveyWork::Latest>& latest) {
    out.advice = {};
    out.amount.clear();
    out.ribbons.clear();
    out.pitch.reset();
    out.beats.reset();
    out.target.reset();
    out.stage = overlay::Stage::waiting;
    if (!latest) return;
    out.note = latest->pipe.note;
    out.key = latest->pipe.key;
    out.deviation = latest->deviation;
    out.uncertainty = latest->uncertainty;
    if (latest->sounding)
        out.stage = latest->uncertainty ? overlay::Stage::reading : overlay::Stage::speaking;
}

void fill_chest(Snapshot& out, const SurveyWork& work, const visit::Run& run,
                const std::map<PipeId, Cents>& heard, bool book) {
    const auto& latest = work.latest();
    out.kept_count = 0;
    for (std::size_t i = 0; i < out.chest.size(); ++i) {
        const PipeId& pipe = run.pipes()[run.standing()[i]].id;
        overlay::ChestPipe& standing = out.chest[i];
        const auto off = heard.find(pipe);
        const visit::PipeRecord& record = run.record().of(pipe);
        standing.current = latest && latest->pipe.id == pipe;
        standing.deviation.reset();
        if (off != heard.end()) standing.deviation = off->second;
        standing.last_time = last_time(work, pipe);
        const bool written = record.survey && record.survey_serial <= run.record().acknowledged();
        standing.kept = off != heard.end() && (written || !book);
        out.kept_count += standing.kept ? 1 : 0;
        standing.again = false;
    }
}

}  // namespace

void fill_survey(Snapshot& out, const SurveyWork& work, const visit::Run& run, bool book) {
    const std::map<PipeId, Cents> heard = work.deviations();
    out.job = "played through";
    out.then.clear();
    fill_latest(out, work.latest());
    fill_chest(out, work, run, heard, book);
    out.survey.emplace();
    View& view = *out.survey;
    view.stage = stage_of(work.stage());
    view.heard = static_cast<int>(heard.size());
    if (work.latest()) {
        view.sounding = work.latest()->sounding;
        view.last_time = last_time(work, work.latest()->pipe.id);
    }
    std::vector<organ::Pipe> missing = run.pipes();
    std::erase_if(missing, [&](const organ::Pipe& pipe) { return heard.contains(pipe.id); });
    std::sort(missing.begin(), missing.end(),
              [](const auto& one, const auto& other) { return one.key < other.key; });
    view.missing = missing_words(missing);
    view.findings = visit::brief(work.findings(), heard.size());
    view.not_kept = visit::why_not_kept(work.result());
    for (const organ::Pipe& pipe : run.pipes())
        view.proposed += run.record().of(pipe.id).list == visit::ListState::proposed ? 1 : 0;
    // While the play goes on, A is that of the pipes heard so far.
    if (work.result().pitch) out.pitch_of_day = work.result().pitch;
    out.pitch_measured = out.pitch_measured || work.result().pitch_measured;
}

}  // namespace rankwright::app

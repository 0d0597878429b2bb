// Turns the state of the work into what the window shows.
#pragma once

#include "app/mixture_work.h"
#include "app/survey_work.h"
#include "capture/source.h"
#include "listening/pair/listener.h"
#include "listening/pipe_listener.h"
#include "overlay/snapshot.h"
#include "tuning/against_reference.h"
#include "tuning/single_pipe.h"
#include "visit/run.h"

namespace rankwright::app {

struct SnapshotInputs {
    const visit::Run& run;
    const tuning::SinglePipe& job;
    const listening::PipeListener* listener;  ///< null before the first sound came
    capture::SourceStatus source;
    bool simulated;
    /// While the current pipe is tuned from its reference: that job, what the ear for two hears,
    /// and its frames; null and empty otherwise.
    const tuning::AgainstReference* paired = nullptr;
    const listening::PairHearing* pair = nullptr;
    std::span<const listening::PartialFrame> meetings{};
    std::span<const overlay::StopChoice> stops{};
    bool book = false;                     ///< the work is kept in a tuning book
    std::string book_trouble{};            ///< why it can't be written now
    const MixtureWork* mixture = nullptr;  ///< the third job, where it is that
    const SurveyWork* survey = nullptr;    ///< a rank played through, where it is that
    /// How the pipe in hand stands, as it may be shown.
    tuning::PipeState pipe() const;
};

/// The stops that have pipes, in the file's order; none is marked as current.
std::vector<overlay::StopChoice> stop_choices(const organ::Instrument& instrument);

overlay::Snapshot make_snapshot(const SnapshotInputs& in);

/// The ribbons' envelopes: what partial k would beat like with a steady one at k times the target,
/// equally loud. One value per partial frame, 0 to 1.
std::vector<overlay::Ribbon> make_ribbons(std::span<const listening::PartialFrame> frames);

/// The ribbons of two that sound: their envelopes at the first meetings of partials, each against
/// its own greatest. Labels as the reference's and the pipe's partial: "1:2", "2:4" ….
std::vector<overlay::Ribbon> make_ribbons(std::span<const listening::PartialFrame> meetings,
                                          const organ::Reference& reference);

/// How far, in words: "about 2.5 mm", "2 to 3 mm"; empty where no millimetres are known.
std::string amount_words(const organ::Movement& movement);

/// The input in words for the person on the ladder.
struct LevelWords {
    std::string words;
    bool bad = false;
};
LevelWords level_words(const listening::Hearing& hearing);

}  // namespace rankwright::app

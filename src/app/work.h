// The work at the organ: joins the ear, the job, the run and the tuning book, on one thread.
#pragma once

#include "app/list_view.h"
#include "app/mixture_work.h"
#include "app/survey_work.h"
#include "capture/source.h"
#include "core/units.h"
#include "listening/pair/listener.h"
#include "listening/pipe_listener.h"
#include "organ/instrument.h"
#include "organ/target.h"
#include "overlay/snapshot.h"
#include "tuning/against_reference.h"
#include "tuning/single_pipe.h"
#include "visit/command.h"
#include "visit/run.h"

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace rankwright::app {

/// What a simulated chamber can be told; empty functions where the pipes are real.
struct Console {
    /// The helper's next key: the pipe, and the reference to be heard before and beside it.
    std::function<void(const organ::Pipe&, const std::optional<organ::Pipe>& reference)> call;
    /// The helper plays these keys one after the other.
    std::function<void(const std::vector<organ::Pipe>&)> play;
    std::function<void(const PipeId&, Millimetres up)> move_device;  ///< the hand at the pipe
    std::function<void(Celsius)> set_temperature;                    ///< of the chamber's air
    /// The hands put mutes into these pipes and take all others out; the first that is put in lets
    /// through `leak` of its pipe's tone.
    std::function<void(const std::set<PipeId>&, std::optional<Decibels> leak)> place_mutes;
    bool simulated() const { return static_cast<bool>(call); }
};

/// The tuning book as the session sees it; without functions nothing is kept.
struct Book {
    std::function<void(visit::BookEntry)> post;
    std::function<std::uint64_t()> acknowledged;  ///< serial up to which all is on disk
    std::function<std::string()> trouble;         ///< why it can't be written; empty: it can
    std::function<void()> end_visit;
    explicit operator bool() const { return static_cast<bool>(post); }
};

/// What is heard goes in, what is shown comes out; commands in between. Belongs to the listening
/// thread.
class Work {
  public:
    /// `instrument` must outlive the work.
    Work(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
         const visit::RunOptions& options, Console console, Book book = {},
         visit::Record record = {}, MixtureEar::When mixtures = MixtureEar::When::aside,
         SurveyWork::LastTime last_time = {});

    void hear(const capture::CaptureBlock& block);
    void obey(const visit::Command& command);
    /// The work ends for now: what is known of the pipe in hand is kept, and the visit ended where
    /// the technician said so.
    void rest();
    /// What the window shows now.
    overlay::Snapshot snapshot(const capture::SourceStatus& source);
    /// The technician has asked to leave.
    bool wants_to_quit() const { return quit_; }
    const visit::Run& run() const { return run_; }

  private:
    /// Tells job, ear and helper of the pipe now wanted.
    void expect_current();
    void expect_play();
    /// Null where the pipe in hand isn't a mixture's to be worked at as such.
    MixtureWork* mixture_in_hand();
    void tell_time(Seconds passed);
    void write_book();

    Console console_;
    Book book_;
    bool quit_ = false;
    bool ends_visit_ = false;
    bool new_visit_ = false;  ///< nothing was heard in it yet when the work began
    std::vector<overlay::StopChoice> stops_;
    visit::Run run_;
    ListView list_view_;
    tuning::SinglePipe job_;
    tuning::AgainstReference paired_job_;
    bool paired_ = false;                      ///< the current pipe is tuned from its reference
    std::optional<MixtureWork> mixture_work_;  ///< also while a walk over the list is elsewhere
    std::optional<SurveyWork> survey_;
    std::unique_ptr<listening::PipeListener> listener_;
    std::unique_ptr<listening::PairListener> pair_listener_;
    capture::CaptureBlock block_;  ///< the latest; its stream, rate and channels are the listener's
    /// What the helper was last told: which pipe, and whether without its reference.
    struct Called {
        PipeId pipe;
        bool alone = false;
        friend bool operator==(const Called&, const Called&) = default;
    };
    std::optional<Called> called_;
    Seconds at_{0.0};  ///< of the sound heard so far, streams one after the other
};

}  // namespace rankwright::app

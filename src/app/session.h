// The work at the organ: joins a source, the ear, the job and the run on the listening thread.
#pragma once

#include "capture/source.h"
#include "core/latest.h"
#include "core/units.h"
#include "listening/pair_listener.h"
#include "listening/pipe_listener.h"
#include "organ/instrument.h"
#include "organ/target.h"
#include "overlay/snapshot.h"
#include "tuning/against_reference.h"
#include "tuning/single_pipe.h"
#include "visit/command.h"
#include "visit/run.h"

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <stop_token>
#include <string>
#include <thread>
#include <vector>

namespace rankwright::app {

/// What a simulated chamber can be told; empty functions where the pipes are real.
struct Console {
    /// The helper's next key: the pipe, and the reference to be heard before and beside it.
    std::function<void(const organ::Pipe&, const std::optional<organ::Pipe>& reference)> call;
    std::function<void(const PipeId&, Millimetres up)> move_device;  ///< the hand at the pipe
    std::function<void(Celsius)> set_temperature;                    ///< of the chamber's air
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

class Session {
  public:
    /// `instrument` must outlive the session.
    Session(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
            visit::RunOptions options, std::unique_ptr<capture::Source> source, Console console,
            Book book = {}, visit::Record record = {});
    ~Session();

    overlay::Snapshot snapshot() const { return snapshot_.get(); }  ///< [any]
    void post(visit::Command command) { commands_.post(command); }  ///< [any]
    /// True once the technician has asked to leave. [any]
    bool wants_to_quit() const { return quit_.load(); }

  private:
    void listen(const std::stop_token& stop);
    void obey(const visit::Command& command);
    void hear(const capture::CaptureBlock& block);
    /// Tells job, ear and helper of the pipe now wanted.
    void expect_current();
    void publish();
    void tell_time(Seconds passed);
    void write_book();

    std::unique_ptr<capture::Source> source_;
    Console console_;
    Book book_;
    bool ends_visit_ = false;
    std::vector<overlay::StopChoice> stops_;
    visit::Run run_;
    tuning::SinglePipe job_;
    tuning::AgainstReference paired_job_;
    bool paired_ = false;  ///< the current pipe is tuned from its reference
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

    Latest<overlay::Snapshot> snapshot_;
    Mailbox<visit::Command> commands_;
    std::atomic<bool> quit_{false};
    std::jthread thread_;  // last: it uses all of the above
};

}  // namespace rankwright::app

// The work on a thread of its own, fed by a source of sound.
#pragma once

#include "app/work.h"
#include "capture/source.h"
#include "core/latest.h"
#include "overlay/snapshot.h"
#include "visit/command.h"

#include <atomic>
#include <memory>
#include <stop_token>
#include <thread>
#include <utility>

namespace rankwright::app {

class Session {
  public:
    Session(std::unique_ptr<capture::Source> source, std::unique_ptr<Work> work);
    ~Session();

    overlay::Snapshot snapshot() const { return snapshot_.get(); }             ///< [any]
    void post(visit::Command command) { commands_.post(std::move(command)); }  ///< [any]
    /// True once the technician has asked to leave. [any]
    bool wants_to_quit() const { return quit_.load(); }

  private:
    void listen(const std::stop_token& stop);

    std::unique_ptr<capture::Source> source_;
    std::unique_ptr<Work> work_;
    Latest<overlay::Snapshot> snapshot_;
    Mailbox<visit::Command> commands_;
    std::atomic<bool> quit_{false};
    std::jthread thread_;  // last: it uses all of the above
};

}  // namespace rankwright::app

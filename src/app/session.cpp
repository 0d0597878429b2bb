#include "app/session.h"

#include "core/thread_role.h"

#include <chrono>
#include <utility>

namespace rankwright::app {

namespace {
constexpr Seconds kPublishEvery{0.03};
}  // namespace

Session::Session(std::unique_ptr<capture::Source> source, std::unique_ptr<Work> work)
    : source_(std::move(source)), work_(std::move(work)) {
    snapshot_.set(work_->snapshot(source_->status()));
    thread_ = std::jthread([this](const std::stop_token& token) { listen(token); });
}

Session::~Session() = default;

void Session::listen(const std::stop_token& stop) {
    set_thread_role(ThreadRole::listening);
    auto published = std::chrono::steady_clock::now();
    while (!stop.stop_requested()) {
        for (const visit::Command& command : commands_.take())
            work_->obey(command);
        if (work_->wants_to_quit()) quit_.store(true);
        capture::CaptureBlock block;
        if (source_->read(block, kPublishEvery)) work_->hear(block);
        if (const auto now = std::chrono::steady_clock::now(); now - published >= kPublishEvery) {
            snapshot_.set(work_->snapshot(source_->status()));
            published = now;
        }
    }
    work_->rest();
}

}  // namespace rankwright::app

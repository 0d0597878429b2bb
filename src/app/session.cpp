#include "app/session.h"

#include "app/snapshot.h"
#include "core/thread_role.h"

#include <chrono>

namespace rankwright::app {

namespace {
template <typename... Fs>
struct Overloaded : Fs... {
    using Fs::operator()...;
};
template <typename... Fs>
Overloaded(Fs...) -> Overloaded<Fs...>;

constexpr Seconds kPublishEvery{0.03};
}  // namespace

Session::Session(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
                 std::unique_ptr<capture::Source> source, Console console)
    : source_(std::move(source)), console_(std::move(console)), run_(instrument, stop, day) {
    expect_current();
    publish();
    thread_ = std::jthread([this](const std::stop_token& token) { listen(token); });
}

Session::~Session() = default;

void Session::listen(const std::stop_token& stop) {
    set_thread_role(ThreadRole::listening);
    auto published = std::chrono::steady_clock::now();
    while (!stop.stop_requested()) {
        for (const visit::Command& command : commands_.take())
            obey(command);
        capture::CaptureBlock block;
        if (source_->read(block, kPublishEvery)) hear(block);
        if (const auto now = std::chrono::steady_clock::now(); now - published >= kPublishEvery) {
            publish();
            published = now;
        }
    }
}

void Session::hear(const capture::CaptureBlock& block) {
    const bool changed = !listener_ || block.stream != block_.stream || block.rate != block_.rate ||
                         block.channels != block_.channels;
    block_ = block;
    if (changed) {
        listener_ = std::make_unique<listening::PipeListener>(
            listening::PipeListener::Parameters{block.rate, static_cast<int>(block.channels)});
        expect_current();
    }
    listener_->process(block.first,
                       {block.samples.data(), std::size_t{block.frames} * block.channels});
    job_.hear(listener_->hearing());
    if (run_.follow(job_.state())) expect_current();
}

void Session::expect_current() {
    job_.expect(run_.expectation());
    if (listener_) listener_->expect(job_.expectation()->target);
    if (console_.simulated() && called_ != run_.pipe().id) {
        called_ = run_.pipe().id;
        console_.call(run_.pipe());
    }
}

void Session::obey(const visit::Command& command) {
    const Overloaded visitor{
        [&](const visit::GoNext&) { run_.next(); },
        [&](const visit::GoBack&) { run_.back(); },
        [&](const visit::GoToKey& go) { run_.go_to(go.key); },
        [&](const visit::MoveDevice& move) {
            if (console_.move_device) console_.move_device(run_.pipe().id, move.by);
        },
        [&](const visit::SetTemperature& set) {
            run_.set_temperature(set.to);
            if (console_.set_temperature) console_.set_temperature(set.to);
        },
        [&](const visit::SetPitch& set) {
            run_.set_pitch(set.to > Hertz{0.0} ? std::optional{set.to} : std::nullopt);
        },
        [&](const visit::TakePitchOfDay&) {
            if (job_.state().deviation) run_.take_pitch_of_day(*job_.state().deviation);
        },
        [&](const visit::Quit&) { quit_.store(true); }};
    std::visit(visitor, command);
    const bool moved_only = std::holds_alternative<visit::MoveDevice>(command);
    if (!moved_only) expect_current();
}

void Session::publish() {
    snapshot_.set(
        make_snapshot({run_, job_, listener_.get(), source_->status(), console_.simulated()}));
}

}  // namespace rankwright::app

#include "capture/live_source.h"

#include "capture/capture_ring.h"
#include "capture/copied_channel.h"
#include "capture/live_stream.h"
#include "capture/portaudio_session.h"
#include "core/thread_role.h"

#include <condition_variable>
#include <mutex>
#include <thread>

namespace rankwright::capture {

namespace {

using Clock = std::chrono::steady_clock;

constexpr auto kWatchInterval = std::chrono::milliseconds{50};
constexpr auto kRetryInterval = std::chrono::milliseconds{700};
// A stream that delivered and then is "active" without frames hangs. Longer at its start: the sound
// server may have to wake the device.
constexpr auto kMostSilence = std::chrono::milliseconds{1500};
constexpr auto kMostSilenceAtStart = std::chrono::milliseconds{5000};
constexpr auto kFarewell = std::chrono::milliseconds{1000};
constexpr Seconds kLockPatience{0.5};

constexpr const char* kWentAway =
    "The microphone went away. Plug it in again; work goes on by itself.";
constexpr const char* kHangs =
    "The microphone is there but sends nothing: the sound system hangs. Plug the microphone in "
    "again; work goes on by itself. If it doesn't, start Rankwright again.";
constexpr const char* kBusy = "The sound system doesn't answer. Work goes on as soon as it does.";

// Shared with the device thread, which may outlive the source while it hangs in a call.
struct Shared {
    explicit Shared(LiveOptions wanted) : options(std::move(wanted)) {}

    const LiveOptions options;
    CaptureRing ring;
    std::atomic<std::uint64_t> overruns{0};

    std::mutex mutex;
    std::condition_variable changed;
    SourceStatus status;    // guarded by mutex, as are the next two
    bool stopping = false;  // the source goes
    bool finished = false;  // the device thread is done
};

// The device thread: opens, watches, closes and opens again until the source goes.
class DeviceWatch {
  public:
    explicit DeviceWatch(std::shared_ptr<Shared> shared)
        : shared_(std::move(shared)), wanted_(shared_->options.device) {}

    void run() {
        set_thread_role(ThreadRole::device);
        while (!stopping()) {
            if (open()) watch();
            close();
            pause(kRetryInterval);
        }
        const std::lock_guard lock(shared_->mutex);
        shared_->finished = true;
        shared_->changed.notify_all();
    }

  private:
    bool open() {
        const PortAudioLock lock(kLockPatience);
        if (!lock.held()) return not_open(kBusy);
        auto session = PortAudioSession::start();
        if (!session) return not_open(session.error().message);
        session_ = std::make_unique<PortAudioSession>(std::move(*session));
        const auto input = session_->find(wanted_);
        if (!input) return not_open(input.error().message);
        const LiveOptions& options = shared_->options;
        auto stream = LiveStream::open(*input, {options.rate, options.channels, opened_},
                                       shared_->ring, shared_->overruns);
        if (!stream) return not_open(stream.error().message);
        stream_ = std::move(*stream);
        // Numbers change when devices come and go; names stay.
        if (!wanted_.empty()) wanted_ = input->name;
        const std::lock_guard status_lock(shared_->mutex);
        shared_->status.name = input->name;
        shared_->status.reopened = opened_++;
        return true;
    }

    // Returns when the stream has stopped or hangs, or the source goes.
    void watch() {
        std::uint64_t frames = 0;
        auto heard = Clock::now();
        while (!pause(kWatchInterval)) {
            const auto now = Clock::now();
            if (const std::uint64_t count = stream_->frames(); count != frames) {
                if (frames == 0) set_state(SourceState::running, stream_->note());
                frames = count;
                heard = now;
            } else if (now - heard > (frames > 0 ? kMostSilence : kMostSilenceAtStart)) {
                return lost(kHangs);
            }
            const PortAudioLock lock(Seconds{0.0});
            if (lock.held() && !stream_->active()) return lost(kWentAway);
        }
    }

    // Can hang for half a minute. Without the lock the sound system is beyond help until it
    // answers.
    void close() {
        while (stream_ || session_) {
            const PortAudioLock lock(kLockPatience);
            if (!lock.held()) continue;
            stream_.reset();
            session_.reset();
        }
    }

    bool not_open(const std::string& why) {
        const std::lock_guard lock(shared_->mutex);
        if (opened_ == 0) {
            shared_->status.state = SourceState::failed;
            shared_->status.message = why;
        }
        return false;  // later, what lost() said still holds
    }

    void lost(const char* why) { set_state(SourceState::lost, why); }

    void set_state(SourceState state, std::string message) {
        const std::lock_guard lock(shared_->mutex);
        shared_->status.state = state;
        shared_->status.message = std::move(message);
    }

    bool stopping() { return pause(Clock::duration::zero()); }

    // True when the source goes, at once; false after `time`.
    bool pause(Clock::duration time) {
        std::unique_lock lock(shared_->mutex);
        return shared_->changed.wait_for(lock, time, [this] { return shared_->stopping; });
    }

    std::shared_ptr<Shared> shared_;
    std::string wanted_;
    std::uint32_t opened_ = 0;  // streams so far
    std::unique_ptr<PortAudioSession> session_;
    std::unique_ptr<LiveStream> stream_;
};

class LiveSource final : public Source {
  public:
    explicit LiveSource(const LiveOptions& options)
        : shared_(std::make_shared<Shared>(options)),
          thread_([shared = shared_] { DeviceWatch(shared).run(); }) {}

    ~LiveSource() override {
        std::unique_lock lock(shared_->mutex);
        shared_->stopping = true;
        shared_->changed.notify_all();
        const bool finished =
            shared_->changed.wait_for(lock, kFarewell, [this] { return shared_->finished; });
        lock.unlock();
        if (finished)
            thread_.join();
        else
            thread_.detach();  // it hangs in the sound system; what it uses is shared
    }

    bool read(CaptureBlock& block, Seconds patience) override {
        assert_thread(ThreadRole::listening);
        if (!shared_->ring.read(block, patience)) return false;
        copies_.fold(block);
        return true;
    }

    SourceStatus status() const override {
        const std::lock_guard lock(shared_->mutex);
        SourceStatus status = shared_->status;
        status.dropped_frames = shared_->ring.dropped_frames();
        status.overruns = shared_->overruns.load(std::memory_order_relaxed);
        return status;
    }

  private:
    std::shared_ptr<Shared> shared_;
    std::thread thread_;
    CopiedChannel copies_;
};

}  // namespace

std::unique_ptr<Source> open_live(const LiveOptions& options) {
    return std::make_unique<LiveSource>(options);
}

}  // namespace rankwright::capture

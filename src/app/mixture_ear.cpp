#include "app/mixture_ear.h"

#include "listening/mixture/channels.h"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>

namespace rankwright::app {

namespace {

// A core's share that hearing may take, and what may be spent at once: four hearings of a key of
// six by two microphones, after which it is told what is heard at all.
constexpr double kShare = 0.15;
constexpr Seconds kAtOnce{6.4};

struct Task {
    int id = 0;
    listening::MixtureRequest request;
    std::vector<std::vector<float>> channels;
};

struct Heard {
    MixtureEar::Answer answer;
    Seconds spent{0.0};
};

Heard hear_out(const Task& task) {
    const auto began = std::chrono::steady_clock::now();
    std::vector<std::optional<listening::MixtureReading>> readings;
    for (const std::vector<float>& samples : task.channels)
        readings.push_back(listening::measure_mixture(samples, task.request));
    return {{task.id, listening::join_channels(readings, task.request.unison)},
            std::chrono::steady_clock::now() - began};
}

}  // namespace

/// One task at a time on a thread of its own.
class MixtureEar::Aside {
  public:
    Aside() : thread_([this](const std::stop_token& stop) { work(stop); }) {}

    void take(Task task) {
        {
            const std::lock_guard lock(mutex_);
            task_ = std::move(task);
        }
        wake_.notify_one();
    }
    std::optional<Heard> answer() {
        const std::lock_guard lock(mutex_);
        return std::exchange(answer_, std::nullopt);
    }

  private:
    void work(const std::stop_token& stop) {
        for (;;) {
            std::unique_lock lock(mutex_);
            if (!wake_.wait(lock, stop, [this] { return task_.has_value(); })) return;
            const Task task = *std::exchange(task_, std::nullopt);
            lock.unlock();
            Heard answer = hear_out(task);
            lock.lock();
            answer_ = std::move(answer);
        }
    }

    std::mutex mutex_;
    std::condition_variable_any wake_;
    std::optional<Task> task_;
    std::optional<Heard> answer_;
    std::jthread thread_;  // last: it uses all of the above
};

MixtureEar::MixtureEar(Seconds span, When when)
    : span_(span),
      to_spend_(kAtOnce),
      aside_(when == When::aside ? std::make_unique<Aside>() : nullptr) {}
MixtureEar::~MixtureEar() = default;

void MixtureEar::hear(const capture::CaptureBlock& block) {
    const auto length = static_cast<std::size_t>(span_.count() * block.rate.value());
    const bool other = block.stream != latest_.stream || block.rate != latest_.rate ||
                       block.channels != latest_.channels || kept_[0].size() != length;
    const bool gap = block.first != latest_.first + static_cast<std::int64_t>(latest_.frames);
    if (other) {
        for (std::vector<float>& channel : kept_)
            channel.assign(length, 0.0F);
        at_ = 0;
    }
    if (other || gap) heard_ = 0;
    for (std::size_t i = 0; i < block.frames; ++i) {
        for (std::size_t c = 0; c < block.channels; ++c)
            kept_[c][at_] = block.samples[i * block.channels + c];
        at_ = (at_ + 1) % length;
    }
    heard_ += block.frames;
    to_spend_ =
        std::min(kAtOnce, to_spend_ + kShare * duration(std::int64_t{block.frames}, block.rate));
    latest_ = block;
}

std::vector<float> MixtureEar::last_span(std::size_t channel) const {
    const std::vector<float>& ring = kept_[channel];
    const auto at = static_cast<std::ptrdiff_t>(at_);
    std::vector<float> samples(ring.begin() + at, ring.end());
    samples.insert(samples.end(), ring.begin(), ring.begin() + at);
    return samples;
}

bool MixtureEar::ask(int id, listening::MixtureRequest request) {
    if (busy_ || kept_[0].empty() || heard_ < kept_[0].size()) return false;
    if (aside_ && !(to_spend_ > Seconds{0.0})) return false;
    request.rate = latest_.rate;
    Task task{id, std::move(request), {}};
    for (std::size_t channel = 0; channel < latest_.channels; ++channel)
        task.channels.push_back(last_span(channel));
    busy_ = true;
    if (aside_)
        aside_->take(std::move(task));
    else
        answer_ = hear_out(task).answer;
    return true;
}

std::optional<MixtureEar::Answer> MixtureEar::answer() {
    std::optional<Answer> answer = std::exchange(answer_, std::nullopt);
    if (aside_) {
        if (auto heard = aside_->answer()) {
            to_spend_ -= heard->spent;
            answer = std::move(heard->answer);
        }
    }
    if (answer) busy_ = false;
    return answer;
}

}  // namespace rankwright::app

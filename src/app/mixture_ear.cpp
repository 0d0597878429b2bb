#include "app/mixture_ear.h"

#include "listening/arithmetic.h"

#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>

namespace rankwright::app {

namespace {

struct Task {
    int id = 0;
    listening::MixtureRequest request;
    std::vector<float> samples;
};

MixtureEar::Answer hear_out(const Task& task) {
    return {task.id, listening::measure_mixture(task.samples, task.request)};
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
    std::optional<Answer> answer() {
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
            Answer answer = hear_out(task);
            lock.lock();
            answer_ = std::move(answer);
        }
    }

    std::mutex mutex_;
    std::condition_variable_any wake_;
    std::optional<Task> task_;
    std::optional<Answer> answer_;
    std::jthread thread_;  // last: it uses all of the above
};

MixtureEar::MixtureEar(Seconds span, When when)
    : span_(span), aside_(when == When::aside ? std::make_unique<Aside>() : nullptr) {}
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
    request.rate = latest_.rate;
    Task task{id, std::move(request), last_span(0)};
    if (latest_.channels > 1) {
        // In a standing wave one microphone may hear little.
        std::vector<float> other = last_span(1);
        if (listening::energy(other) > listening::energy(task.samples))
            task.samples = std::move(other);
    }
    busy_ = true;
    if (aside_)
        aside_->take(std::move(task));
    else
        answer_ = hear_out(task);
    return true;
}

std::optional<MixtureEar::Answer> MixtureEar::answer() {
    std::optional<Answer> answer = aside_ ? aside_->answer() : std::exchange(answer_, std::nullopt);
    if (answer) busy_ = false;
    return answer;
}

}  // namespace rankwright::app

// Work that takes a while, beside a thread that mustn't wait for it.
#pragma once

#include <condition_variable>
#include <functional>
#include <mutex>
#include <optional>
#include <stop_token>
#include <thread>
#include <utility>

namespace rankwright {

/// Answers one question at a time on a thread of its own. A question that is asked before the last
/// one was begun takes its place. The destructor waits for the answer in hand.
template <typename Question, typename Answer>
class Aside {
  public:
    explicit Aside(std::function<Answer(const Question&)> work)
        : work_(std::move(work)), thread_([this](const std::stop_token& stop) { go_on(stop); }) {}

    /// Never waits for the work. [any]
    void ask(Question question) {
        {
            const std::lock_guard lock(mutex_);
            question_ = std::move(question);
        }
        wake_.notify_one();
    }
    /// The answer that came since the last call, if any. [any]
    std::optional<Answer> answer() {
        const std::lock_guard lock(mutex_);
        return std::exchange(answer_, std::nullopt);
    }

  private:
    void go_on(const std::stop_token& stop) {
        for (;;) {
            std::unique_lock lock(mutex_);
            if (!wake_.wait(lock, stop, [this] { return question_.has_value(); })) return;
            const Question question = *std::exchange(question_, std::nullopt);
            lock.unlock();
            Answer answer = work_(question);
            lock.lock();
            answer_ = std::move(answer);
        }
    }

    std::function<Answer(const Question&)> work_;
    std::mutex mutex_;
    std::condition_variable_any wake_;
    std::optional<Question> question_;
    std::optional<Answer> answer_;
    std::jthread thread_;  // last: it uses all of the above
};

}  // namespace rankwright

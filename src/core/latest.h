// Hand-over between threads other than the audio thread (which only ever touches the ring).
#pragma once

#include <mutex>
#include <utility>
#include <vector>

namespace rankwright {

/// The newest value of something: the writer overwrites, the reader copies out. Older values are
/// lost on purpose; what must not be lost goes through a Mailbox. [any]
template <typename T>
class Latest {
  public:
    void set(T value) {
        const std::lock_guard lock(mutex_);
        value_ = std::move(value);
    }
    T get() const {
        const std::lock_guard lock(mutex_);
        return value_;
    }

  private:
    mutable std::mutex mutex_;
    T value_{};
};

/// A queue that loses nothing: `post` from any thread, `take` empties it in order. [any]
template <typename T>
class Mailbox {
  public:
    void post(T item) {
        const std::lock_guard lock(mutex_);
        items_.push_back(std::move(item));
    }
    std::vector<T> take() {
        const std::lock_guard lock(mutex_);
        return std::exchange(items_, {});
    }

  private:
    std::mutex mutex_;
    std::vector<T> items_;
};

}  // namespace rankwright

// PortAudio as we use it: one session at a time, quiet, guarded against what makes it abort.
#pragma once

#include "capture/inputs.h"

#include <string_view>

#include <portaudio.h>

namespace rankwright::capture {

/// PortAudio isn't made for several threads: every call into it needs this lock. A call can hang
/// for half a minute, so whoever must not wait tries with a patience. (std::timed_mutex would do,
/// but the thread sanitizer of g++ 12 doesn't know its timed waits.) [any]
class PortAudioLock {
  public:
    explicit PortAudioLock(Seconds patience);
    ~PortAudioLock();
    PortAudioLock(const PortAudioLock&) = delete;
    PortAudioLock& operator=(const PortAudioLock&) = delete;
    bool held() const { return held_; }  ///< false: another thread had it all the time

  private:
    bool held_;
};

/// Started on construction by `start`, terminated by the destructor. The list of devices is the one
/// at the start: a new session sees a new list, when no other session is open. Hold the lock while
/// starting and destroying it.
class PortAudioSession {
  public:
    static Result<PortAudioSession> start();
    ~PortAudioSession();
    PortAudioSession(PortAudioSession&& other) noexcept;
    PortAudioSession(const PortAudioSession&) = delete;
    PortAudioSession& operator=(const PortAudioSession&) = delete;
    PortAudioSession& operator=(PortAudioSession&&) = delete;

    std::vector<Input> inputs() const;
    /// The input that `wanted` names: nothing (the default), a number, a name or a part of one.
    /// Fails naming the inputs there are.
    Result<Input> find(std::string_view wanted) const;

  private:
    PortAudioSession() = default;
    bool started_ = true;
};

}  // namespace rankwright::capture

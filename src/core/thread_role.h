// Which thread may call what. Methods that cross threads carry a tag in their docstring, [audio],
// [listening], [window], [device], [storage] or [any], and the untagged ones belong to their owner.
#pragma once

#include <cassert>

namespace rankwright {

enum class ThreadRole { any, audio, listening, window, device, storage };

/// Marks the calling thread; `any` (the default) passes every check, as in tests.
void set_thread_role(ThreadRole role) noexcept;
ThreadRole thread_role() noexcept;

/// In builds with assertions: stops a call from the wrong thread.
inline void assert_thread([[maybe_unused]] ThreadRole expected) noexcept {
    assert(thread_role() == expected || thread_role() == ThreadRole::any);
}

}  // namespace rankwright

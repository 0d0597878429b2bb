#include "core/thread_role.h"

namespace rankwright {

namespace {
thread_local ThreadRole role = ThreadRole::any;
}

void set_thread_role(ThreadRole new_role) noexcept { role = new_role; }
ThreadRole thread_role() noexcept { return role; }

}  // namespace rankwright

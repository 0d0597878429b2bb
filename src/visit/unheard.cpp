#include "visit/unheard.h"

namespace rankwright::visit {

void Unheard::follow(Heard heard, Hertz pitch, Seconds now) {
    constexpr Hertz kTreble{1000.0};
    // For the helper to find the key and hold it; and to move the microphone and hear it again
    // (common practice, no source).
    constexpr Seconds kFirst{5.0}, kBoth{12.0};
    const bool known = heard_ || heard == Heard::the_pipe || pitch < kTreble;
    if (known || heard != Heard::nothing) {
        begin();
        heard_ = known;
        return;
    }
    if (!since_) since_ = now;
    asks_ = now - *since_ >= kFirst;
    may_be_ = now - *since_ < kBoth;
}

}  // namespace rankwright::visit

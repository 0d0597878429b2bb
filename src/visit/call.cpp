#include "visit/call.h"

namespace rankwright::visit {

namespace {
Call::Key key_of(const organ::Pipe& pipe) { return {pipe.division, pipe.note, pipe.key}; }
}  // namespace

Call call_for(const organ::Pipe& pipe, const std::optional<organ::Reference>& reference) {
    Call call;
    call.key = key_of(pipe);
    call.stops = {pipe.stop};
    if (!reference) return call;
    const organ::Pipe& from = reference->pipe;
    const bool elsewhere = from.division != pipe.division;
    if (elsewhere)
        call.stops.insert(call.stops.begin(), from.division + " · " + from.stop);
    else if (from.stop != pipe.stop)
        call.stops.insert(call.stops.begin(), from.stop);
    if (elsewhere || from.key != pipe.key) call.also = key_of(from);
    return call;
}

}  // namespace rankwright::visit

#include "app/recorded_input.h"

#include <iostream>

namespace rankwright::app {

Result<capture::Recording> read_asked(const std::string& file, std::optional<int> channel,
                                      std::optional<double> from, std::optional<double> to) {
    capture::RecordingSpan span;
    span.channel = channel;
    if (from) span.from = Seconds{*from};
    if (to) span.to = Seconds{*to};
    auto recording = capture::read_recording(file, span);
    if (recording && !recording->note.empty())
        std::cerr << "rankwright: " << recording->note << "\n";
    return recording;
}

}  // namespace rankwright::app

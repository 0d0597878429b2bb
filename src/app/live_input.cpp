#include "app/live_input.h"

#include "app/interrupt.h"
#include "capture/inputs.h"
#include "capture/live_source.h"
#include "core/thread_role.h"

#include <chrono>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

/// From 1. A single channel stays: it may be two that are alike.
void keep_channel(capture::CaptureBlock& block, int channel) {
    if (block.channels == 1) return;
    for (std::size_t i = 0; i < block.frames; ++i)
        block.samples[i] =
            block.samples[block.channels * i + static_cast<std::size_t>(channel - 1)];
    block.channels = 1;
}

}  // namespace

Result<void> hear_live(const LiveInput& input) {
    catch_interrupts();
    if (!input.device.empty())
        if (const auto found = capture::find_input(input.device);
            !found && found.error().kind == ErrorKind::not_found)
            return tl::unexpected(found.error());
    if (input.channel > 2)
        return fail(ErrorKind::bad_input,
                    "A live input has two channels at most. Give --channel 1 or 2.");
    set_thread_role(ThreadRole::listening);
    capture::LiveOptions wanted;
    wanted.device = input.device;
    const std::unique_ptr<capture::Source> source = capture::open_live(wanted);
    capture::CaptureBlock block;
    std::optional<std::uint32_t> stream;
    std::uint32_t channels = 0;
    std::string said;
    const auto began = std::chrono::steady_clock::now();
    const auto over = [&] {
        return interrupted() || (input.lasting && std::chrono::steady_clock::now() - began >=
                                                      Seconds{*input.lasting});
    };
    while (!over()) {
        const capture::SourceStatus status = source->status();
        if (status.message != said && !(said = status.message).empty())
            std::cerr << "rankwright: " << said << std::endl;
        if (!source->read(block, Seconds{0.1})) continue;
        if (input.channel) keep_channel(block, *input.channel);
        if (stream != block.stream || channels != block.channels) {
            stream = block.stream;
            channels = block.channels;
            input.begin(block.rate, static_cast<int>(block.channels));
        }
        input.take(block);
    }
    return {};
}

ExitCode print_live_readings(LiveReadings readings) {
    using Printed = LiveReadings::Printed;
    constexpr Seconds kEvery{0.2};
    bool any = false;
    FrameIndex printed;
    LiveInput input = readings.input;
    input.begin = [&](SampleRate rate, int channels) {
        readings.input.begin(rate, channels);
        printed = {};
    };
    input.take = [&](const capture::CaptureBlock& block) {
        readings.input.take(block);
        const FrameIndex now = block.first + static_cast<std::int64_t>(block.frames);
        if (duration(now - printed, block.rate) < kEvery) return;
        const Printed what = readings.print();
        if (what == Printed::nothing) return;
        printed = now;
        any = any || what == Printed::reading;
    };
    if (const auto heard = hear_live(input); !heard) return report(heard.error());
    if (any) return kDone;
    return report({ErrorKind::nothing_heard, readings.nothing, std::nullopt});
}

}  // namespace rankwright::app

#include "capture/live_stream.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::capture {

namespace {

constexpr double kUsualRate = 48000.0;
// Enough for a machine under load, too little to be felt.
constexpr double kShortestLatency = 0.02;
constexpr double kLongestLatency = 0.1;

std::string hertz_text(double rate) { return std::to_string(std::lround(rate)) + " Hz"; }

// The rates to try, the wanted one first.
std::vector<double> rates(const Input& input, std::optional<SampleRate> wanted) {
    std::vector<double> out;
    const auto add = [&](double rate) {
        if (rate > 0.0 && std::find(out.begin(), out.end(), rate) == out.end()) out.push_back(rate);
    };
    if (wanted) add(wanted->value());
    add(kUsualRate);
    add(input.default_rate.value());
    add(44100.0);
    return out;
}

Error open_error(const Input& input, PaError code) {
    std::string message = "The input \"" + input.name + "\" ";
    if (code == paDeviceUnavailable)
        message += "is in use by another program. Close that program; work begins by itself.";
    else if (code == paInvalidSampleRate)
        message += "refuses every sample rate tried. Choose another input.";
    else
        message += std::string("can't be opened (") + Pa_GetErrorText(code) +
                   "). Plug it in again or choose another input.";
    return {ErrorKind::device, message, std::nullopt};
}

}  // namespace

int receive(const void* input, void* /*output*/, unsigned long frames,
            const PaStreamCallbackTimeInfo* /*time*/, PaStreamCallbackFlags flags,
            void* inlet) noexcept {
    Inlet& in = *static_cast<Inlet*>(inlet);
    if ((flags & paInputOverflow) != 0) {
        in.overruns.fetch_add(1, std::memory_order_relaxed);
        // How many frames are gone isn't known; any jump tells the reader that the phase is lost.
        in.writer.skip(frames);
    }
    if (input == nullptr) {
        in.writer.skip(frames);
        return paContinue;
    }
    in.writer.write(static_cast<const float*>(input), frames);
    in.frames.fetch_add(frames, std::memory_order_relaxed);
    return paContinue;
}

Result<std::unique_ptr<LiveStream>> LiveStream::open(const Input& input, const Parameters& wanted,
                                                     CaptureRing& ring,
                                                     std::atomic<std::uint64_t>& overruns) {
    const PaDeviceInfo* device = Pa_GetDeviceInfo(input.index);
    if (device == nullptr) return tl::unexpected(open_error(input, paInvalidDevice));
    PaStreamParameters parameters{};
    parameters.device = input.index;
    parameters.channelCount = std::clamp(std::min(wanted.channels, input.channels), 1, 2);
    parameters.sampleFormat = paFloat32;
    parameters.suggestedLatency =
        std::clamp(device->defaultHighInputLatency, kShortestLatency, kLongestLatency);

    PaError code = paInvalidSampleRate;
    for (const double rate : rates(input, wanted.rate)) {
        const auto channels = static_cast<std::uint32_t>(parameters.channelCount);
        // The blocks carry the rate that was asked for unless the device reports another.
        auto inlet = std::unique_ptr<Inlet>(
            new Inlet{RingWriter(ring, SampleRate{rate}, channels, wanted.number), overruns});
        PaStream* stream = nullptr;
        code = Pa_OpenStream(&stream, &parameters, nullptr, rate, paFramesPerBufferUnspecified,
                             paClipOff | paDitherOff, receive, inlet.get());
        if (code == paInvalidSampleRate) continue;
        if (code != paNoError) break;
        const PaStreamInfo* info = Pa_GetStreamInfo(stream);
        const double real = info != nullptr && info->sampleRate > 0.0 ? info->sampleRate : rate;
        inlet->writer = RingWriter(ring, SampleRate{real}, channels, wanted.number);
        std::string note;
        if (wanted.rate && std::abs(wanted.rate->value() - real) > 1.0) {
            note = "The input \"" + input.name + "\" refuses " + hertz_text(wanted.rate->value()) +
                   "; it runs at " + hertz_text(real) + ". Ask for that rate, or for none.";
        }
        std::unique_ptr<LiveStream> live(new LiveStream(std::move(inlet), stream, std::move(note)));
        code = Pa_StartStream(stream);
        if (code != paNoError) break;
        return live;
    }
    return tl::unexpected(open_error(input, code));
}

LiveStream::LiveStream(std::unique_ptr<Inlet> inlet, PaStream* stream, std::string note)
    : inlet_(std::move(inlet)), stream_(stream), note_(std::move(note)) {}

LiveStream::~LiveStream() {
    Pa_AbortStream(stream_);
    Pa_CloseStream(stream_);
}

bool LiveStream::active() const { return Pa_IsStreamActive(stream_) == 1; }

}  // namespace rankwright::capture

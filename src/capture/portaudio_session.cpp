#include "capture/portaudio_session.h"

#include "capture/pulse_client.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <condition_variable>
#include <cstdlib>
#include <mutex>

#include <alsa/asoundlib.h>
#include <dlfcn.h>

namespace rankwright::capture {

namespace {

constexpr Seconds kListPatience{40.0};  // a hanging call into the sound system takes up to 30 s

void ignore_alsa(const char* /*file*/, int /*line*/, const char* /*function*/, int /*code*/,
                 const char* /*format*/, ...) {}
void ignore_jack(const char* /*message*/) {}

struct Occupancy {
    std::mutex mutex;
    std::condition_variable freed;
    bool taken = false;
};

// Never destroyed: a device thread that hangs may outlive everything else.
Occupancy& occupancy() {
    static auto& only = *new Occupancy;
    return only;
}

// Looking for devices prints up to a hundred lines about those that don't exist. PortAudio brings
// JACK's library along, so its handlers are looked up where it is already loaded.
void prepare_libraries() {
    static std::once_flag once;
    std::call_once(once, [] {
        setenv("JACK_NO_START_SERVER", "1", 0);
        avoid_shared_memory_with_pulse();
        snd_lib_error_set_handler(ignore_alsa);
        using SetHandler = void (*)(void (*)(const char*));
        for (const char* name : std::array{"jack_set_error_function", "jack_set_info_function"})
            if (const auto set = reinterpret_cast<SetHandler>(dlsym(RTLD_DEFAULT, name)))
                set(ignore_jack);
    });
}

// PortAudio 19.6 asserts in BuildDeviceList unless ALSA knows a pcm called default or dmix.
bool alsa_is_configured() {
    if (snd_config_update() < 0 || snd_config == nullptr) return false;
    snd_config_t* pcm = nullptr;
    if (snd_config_search(snd_config, "pcm", &pcm) < 0) return false;
    if (snd_config_get_type(pcm) != SND_CONFIG_TYPE_COMPOUND) return false;
    snd_config_t* entry = nullptr;
    return snd_config_search(pcm, "default", &entry) >= 0 ||
           snd_config_search(pcm, "dmix", &entry) >= 0;
}

// ALSA before the others, and JACK only when nothing else is there: its stop can hang.
PaDeviceIndex default_input() {
    PaDeviceIndex best = paNoDevice;
    int best_rank = 0;
    for (PaHostApiIndex i = 0; i < Pa_GetHostApiCount(); ++i) {
        const PaHostApiInfo* api = Pa_GetHostApiInfo(i);
        if (api == nullptr || api->defaultInputDevice == paNoDevice) continue;
        const int rank = api->type == paALSA ? 3 : api->type == paJACK ? 1 : 2;
        if (rank <= best_rank) continue;
        best = api->defaultInputDevice;
        best_rank = rank;
    }
    return best;
}

std::string lower(std::string_view text) {
    std::string out(text);
    std::transform(out.begin(), out.end(), out.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return out;
}

std::string list_names(const std::vector<Input>& inputs) {
    std::string text;
    for (const Input& input : inputs)
        text +=
            (text.empty() ? "" : ", ") + std::to_string(input.index) + " \"" + input.name + "\"";
    return text;
}

}  // namespace

PortAudioLock::PortAudioLock(Seconds patience) {
    Occupancy& portaudio = occupancy();
    std::unique_lock lock(portaudio.mutex);
    held_ = portaudio.freed.wait_for(lock, patience, [&] { return !portaudio.taken; });
    if (held_) portaudio.taken = true;
}

PortAudioLock::~PortAudioLock() {
    if (!held_) return;
    Occupancy& portaudio = occupancy();
    const std::lock_guard lock(portaudio.mutex);
    portaudio.taken = false;
    portaudio.freed.notify_one();
}

Result<PortAudioSession> PortAudioSession::start() {
    prepare_libraries();
    if (!alsa_is_configured()) {
        return fail(ErrorKind::device,
                    "The sound system (ALSA) has no configuration that names a device. Install "
                    "libasound2-data, or correct the file that ALSA_CONFIG_PATH names.");
    }
    if (const PaError error = Pa_Initialize(); error != paNoError) {
        return fail(ErrorKind::device, std::string("The sound system can't be started (") +
                                           Pa_GetErrorText(error) +
                                           "). Close other sound programs and try again.");
    }
    return PortAudioSession{};
}

PortAudioSession::PortAudioSession(PortAudioSession&& other) noexcept
    : started_(std::exchange(other.started_, false)) {}

PortAudioSession::~PortAudioSession() {
    if (started_) Pa_Terminate();
}

std::vector<Input> PortAudioSession::inputs() const {
    std::vector<Input> inputs;
    const PaDeviceIndex standard = default_input();
    for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); ++i) {
        const PaDeviceInfo* device = Pa_GetDeviceInfo(i);
        if (device == nullptr || device->maxInputChannels < 1) continue;
        inputs.push_back({i, device->name, device->maxInputChannels,
                          SampleRate{device->defaultSampleRate}, i == standard});
    }
    return inputs;
}

Result<Input> PortAudioSession::find(std::string_view wanted) const {
    const std::vector<Input> all = inputs();
    if (all.empty()) {
        return fail(ErrorKind::device,
                    "No sound input is found. Plug in a microphone; work begins by itself.");
    }
    if (wanted.empty()) {
        const auto standard =
            std::find_if(all.begin(), all.end(), [](const Input& i) { return i.is_default; });
        return standard != all.end() ? *standard : all.front();
    }
    int number = -1;
    const auto [end, code] = std::from_chars(wanted.data(), wanted.data() + wanted.size(), number);
    const bool is_number = code == std::errc{} && end == wanted.data() + wanted.size();
    std::vector<Input> partly;
    for (const Input& input : all) {
        if ((is_number && input.index == number) || input.name == wanted) return input;
        if (lower(input.name).find(lower(wanted)) != std::string::npos) partly.push_back(input);
    }
    if (partly.size() == 1) return partly.front();
    if (partly.size() > 1) {
        return fail(ErrorKind::not_found, "Several sound inputs are called \"" +
                                              std::string(wanted) + "\": " + list_names(partly) +
                                              ". Give the number or the whole name.");
    }
    return fail(ErrorKind::not_found, "There is no sound input \"" + std::string(wanted) +
                                          "\". There are " + list_names(all) +
                                          ". Plug it in, or choose one of these.");
}

namespace {

// What `ask` learns from a session of its own.
template <typename Ask>
auto in_a_session(Ask ask) -> decltype(ask(std::declval<const PortAudioSession&>())) {
    const PortAudioLock lock(kListPatience);
    if (!lock.held()) {
        return fail(ErrorKind::device,
                    "The sound system doesn't answer. Wait a moment, or restart the computer.");
    }
    const auto session = PortAudioSession::start();
    if (!session) return tl::unexpected(session.error());
    return ask(*session);
}

}  // namespace

Result<std::vector<Input>> list_inputs() {
    return in_a_session([](const PortAudioSession& session) -> Result<std::vector<Input>> {
        return session.inputs();
    });
}

Result<Input> find_input(std::string_view wanted) {
    return in_a_session([&](const PortAudioSession& session) { return session.find(wanted); });
}

}  // namespace rankwright::capture

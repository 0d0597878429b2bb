#include "support/sound_server.h"

#include <csignal>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <thread>
#include <utility>

#include <fcntl.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

namespace rankwright::testing {

namespace {

constexpr const char* kAlsaThroughPulse =
    "pcm.!default { type pulse hint.description \"Default\" }\n"
    "ctl.!default { type pulse }\n"
    "pcm.organloft { type pulse device \"organloft.monitor\" hint { show on } }\n";

void redirect(const std::filesystem::path& file, int descriptor) {
    const char* path = file.empty() ? "/dev/null" : file.c_str();
    const int to = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (to >= 0) dup2(to, descriptor);
}

}  // namespace

Process::Process(const std::vector<std::string>& command, const std::filesystem::path& out_file,
                 const std::filesystem::path& error_file) {
    std::vector<char*> arguments;
    for (const std::string& word : command)
        arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    pid_ = fork();
    if (pid_ != 0) return;
    prctl(PR_SET_PDEATHSIG, SIGKILL);  // a test that crashes leaves no server behind
    redirect(out_file, STDOUT_FILENO);
    redirect(error_file, STDERR_FILENO);
    execvp(arguments[0], arguments.data());
    _exit(127);
}

Process::~Process() {
    if (pid_ <= 0) return;
    ::kill(pid_, SIGKILL);
    waitpid(pid_, nullptr, 0);
}

Process::Process(Process&& other) noexcept : pid_(std::exchange(other.pid_, -1)) {}

Process& Process::operator=(Process&& other) noexcept {
    std::swap(pid_, other.pid_);
    return *this;
}

void Process::signal(int number) const {
    if (pid_ > 0) ::kill(pid_, number);
}

int Process::wait(std::chrono::milliseconds patience) {
    const auto end = std::chrono::steady_clock::now() + patience;
    while (pid_ > 0) {
        int status = 0;
        if (waitpid(pid_, &status, WNOHANG) == pid_) {
            pid_ = -1;
            return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
        }
        if (std::chrono::steady_clock::now() > end) break;
        std::this_thread::sleep_for(std::chrono::milliseconds{5});
    }
    return -1;
}

SoundServer::SoundServer() {
    std::string pattern = (std::filesystem::temp_directory_path() / "rankwright-XXXXXX").string();
    folder_ = mkdtemp(pattern.data());
    const auto set = [](const char* name, const std::string& value) {
        setenv(name, value.c_str(), 1);
    };
    set("XDG_RUNTIME_DIR", folder_.string());
    set("PULSE_SERVER", "unix:" + (folder_ / "pulse.sock").string());
    set("PULSE_COOKIE", (folder_ / "cookie").string());
    set("JACK_NO_START_SERVER", "1");
    set("ALSA_CONFIG_PATH", (folder_ / "asound.conf").string());
    configure_alsa(kAlsaThroughPulse);
}

SoundServer::~SoundServer() {
    kill();
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
}

bool SoundServer::start() {
    const std::string socket = (folder_ / "pulse.sock").string();
    std::filesystem::remove(socket);
    server_ = Process({"pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1",
                       "--use-pid-file=no", "--realtime=no", "--high-priority=no", "-L",
                       "module-native-protocol-unix socket=" + socket + " auth-anonymous=1", "-L",
                       // norewinds: otherwise the first sound comes two seconds late
                       "module-null-sink sink_name=organloft rate=48000 channels=2 "
                       "channel_map=front-left,front-right format=float32le norewinds=1"},
                      folder_ / "server.log", folder_ / "server.log");
    for (int attempt = 0; attempt < 200; ++attempt) {
        if (Process({"pactl", "info"}).wait(std::chrono::seconds{2}) == 0)
            return Process({"pactl", "set-default-source", "organloft.monitor"})
                       .wait(std::chrono::seconds{2}) == 0;
        std::this_thread::sleep_for(std::chrono::milliseconds{50});
    }
    return false;
}

void SoundServer::kill() {
    server_.signal(SIGKILL);
    server_.wait(std::chrono::seconds{5});
}

void SoundServer::freeze() { server_.signal(SIGSTOP); }
void SoundServer::thaw() { server_.signal(SIGCONT); }

Process SoundServer::play(const std::filesystem::path& wav) const {
    return Process({"paplay", wav.string()}, {}, folder_ / "play.log");
}

void SoundServer::configure_alsa(std::string_view text) const {
    std::ofstream(folder_ / "asound.conf") << text;
}

std::string read_text(const std::filesystem::path& path) {
    std::ifstream in(path);
    return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

}  // namespace rankwright::testing

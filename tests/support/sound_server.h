// A sound server and a virtual microphone of the test's own, reached as the product reaches real
// ones: PortAudio, ALSA, PulseAudio. What is played into the server is what the microphone hears.
#pragma once

#include <chrono>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include <sys/types.h>

namespace rankwright::testing {

/// A child process that ends with its owner.
class Process {
  public:
    Process() = default;
    /// Starts `command` with stdout and stderr going to the files (empty: /dev/null).
    explicit Process(const std::vector<std::string>& command,
                     const std::filesystem::path& out_file = {},
                     const std::filesystem::path& error_file = {});
    ~Process();  ///< kills it if it still runs
    Process(Process&& other) noexcept;
    Process& operator=(Process&& other) noexcept;

    bool started() const { return pid_ > 0; }
    void signal(int number) const;
    /// Its exit status when it ended within `patience`, 128 + the signal that ended it, or −1 when
    /// it still runs.
    int wait(std::chrono::milliseconds patience);

  private:
    pid_t pid_ = -1;
};

/// One per test process, since it sets the environment variables that tell the sound libraries
/// where to look. Nothing outside its own temporary folder is touched.
class SoundServer {
  public:
    SoundServer();   ///< prepares folder and environment; no server runs yet
    ~SoundServer();  ///< kills the server, removes the folder

    /// Starts the server and waits until it answers; false when it doesn't within 10 s.
    bool start();
    void kill();    ///< as when the device is pulled out
    void freeze();  ///< it stops answering, yet its connections stay
    void thaw();
    /// Plays a sound file into the virtual microphone.
    Process play(const std::filesystem::path& wav) const;
    /// Replaces the ALSA configuration; for what happens without any device.
    void configure_alsa(std::string_view text) const;

    const std::filesystem::path& folder() const { return folder_; }

  private:
    std::filesystem::path folder_;
    Process server_;
};

/// The whole text of a file; empty when it can't be read.
std::string read_text(const std::filesystem::path& path);

}  // namespace rankwright::testing

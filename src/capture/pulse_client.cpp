#include "capture/pulse_client.h"

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include <sys/mman.h>
#include <unistd.h>

namespace rankwright::capture {

namespace {

namespace fs = std::filesystem;

fs::path folder_from(const char* variable, const char* below) {
    const char* value = std::getenv(variable);
    return value != nullptr && *value != '\0' ? fs::path(value) / below : fs::path();
}

// The file that the library would read: the user's, or else the system's (man pulse-client.conf).
fs::path usual_configuration() {
    std::error_code ignored;
    for (const fs::path& folder :
         {folder_from("XDG_CONFIG_HOME", "pulse"), folder_from("HOME", ".config/pulse"),
          folder_from("HOME", ".pulse")}) {
        if (!folder.empty() && fs::exists(folder / "client.conf", ignored))
            return folder / "client.conf";
    }
    return "/etc/pulse/client.conf";
}

// A configuration may have a folder of additions beside it, read in the order of their names.
std::vector<fs::path> with_additions(const fs::path& configuration) {
    std::vector<fs::path> files;
    std::error_code ignored;
    for (const auto& entry : fs::directory_iterator(configuration.string() + ".d", ignored))
        if (entry.path().extension() == ".conf") files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    files.insert(files.begin(), configuration);
    return files;
}

}  // namespace

void avoid_shared_memory_with_pulse() {
    std::string text;
    for (const fs::path& file : with_additions(usual_configuration()))
        text += ".include " + file.string() + "\n";
    text += "enable-shm = no\n";
    // A file in memory: nothing is left behind, and it lasts as long as this program and those that
    // it starts, which inherit the variable too.
    const int file = memfd_create("pulse-client.conf", 0);
    if (file < 0) return;
    if (write(file, text.data(), text.size()) == static_cast<ssize_t>(text.size()))
        setenv("PULSE_CLIENTCONFIG", ("/proc/self/fd/" + std::to_string(file)).c_str(), 0);
}

}  // namespace rankwright::capture

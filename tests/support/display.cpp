#include "support/display.h"

#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <thread>

#include <unistd.h>

namespace rankwright::testing {

Display::Display(int width, int height) {
    std::string pattern = (std::filesystem::temp_directory_path() / "rankwright-XXXXXX").string();
    const std::filesystem::path folder = mkdtemp(pattern.data());
    const std::string screen = std::to_string(width) + "x" + std::to_string(height) + "x24";
    // Descriptor 1: the server writes the number it took to its standard output.
    server_ = Process({"Xvfb", "-displayfd", "1", "-screen", "0", screen, "-nolisten", "tcp"},
                      folder / "number");
    for (int tries = 0; tries < 400; ++tries) {
        const std::string number = read_text(folder / "number");
        if (!number.empty() && number.back() == '\n') {
            name_ = ":" + number.substr(0, number.size() - 1);
            setenv("DISPLAY", name_.c_str(), 1);
            break;
        }
        std::this_thread::sleep_for(std::chrono::milliseconds{25});
    }
    std::error_code none;
    std::filesystem::remove_all(folder, none);
}

std::string output_of(const std::string& command) {
    std::string output;
    FILE* pipe = popen(command.c_str(), "r");
    if (pipe == nullptr) return output;
    std::array<char, 256> part{};
    while (std::fgets(part.data(), part.size(), pipe) != nullptr)
        output += part.data();
    pclose(pipe);
    while (!output.empty() && output.back() == '\n')
        output.pop_back();
    return output;
}

}  // namespace rankwright::testing

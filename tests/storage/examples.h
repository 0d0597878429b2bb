// The example instruments that come with the program.
#pragma once

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

namespace rankwright::storage {

inline std::vector<std::filesystem::path> example_files() {
    std::vector<std::filesystem::path> out;
    for (const auto& entry : std::filesystem::directory_iterator(RANKWRIGHT_INSTRUMENTS))
        if (entry.path().extension() == ".toml") out.push_back(entry.path());
    std::sort(out.begin(), out.end());
    return out;
}

inline std::string text_of_file(const std::filesystem::path& path) {
    std::ifstream in(path, std::ios::binary);
    std::stringstream text;
    text << in.rdbuf();
    return text.str();
}

}  // namespace rankwright::storage

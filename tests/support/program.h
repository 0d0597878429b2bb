// Runs the real program as a user would.
#pragma once

#include "support/temporary_folder.h"

#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include <nlohmann/json.hpp>
#include <sys/wait.h>
#include <unistd.h>

namespace rankwright::testing {

struct Outcome {
    int code = -1;
    std::string out;
    std::string error;
    /// What was printed with --json; null when it isn't JSON.
    nlohmann::json json() const { return nlohmann::json::parse(out, nullptr, false); }
};

/// `before rankwright ARGUMENTS`, both as in a shell. RANKWRIGHT_PROGRAM is set by CMake.
inline Outcome rankwright(const std::string& arguments, const std::string& before = "") {
    char errors[] = "/tmp/rankwright-stderr-XXXXXX";
    const int file = mkstemp(errors);
    if (file >= 0) close(file);
    const std::string command =
        before + "'" + RANKWRIGHT_PROGRAM + "' " + arguments + " 2>" + errors;
    Outcome outcome;
    FILE* pipe = popen(command.c_str(), "r");
    if (pipe == nullptr) return outcome;
    std::array<char, 4096> buffer;
    while (const std::size_t count = fread(buffer.data(), 1, buffer.size(), pipe))
        outcome.out.append(buffer.data(), count);
    const int status = pclose(pipe);
    outcome.code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    std::ostringstream text;
    text << std::ifstream(errors).rdbuf();
    outcome.error = text.str();
    std::filesystem::remove(errors);
    return outcome;
}

}  // namespace rankwright::testing

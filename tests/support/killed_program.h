// A program that prints lines while it works, and is killed by the test.
#pragma once

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <string>
#include <thread>
#include <vector>

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

namespace rankwright::testing {

class KilledProgram {
  public:
    KilledProgram(const std::string& program, const std::vector<std::string>& arguments) {
        int ends[2];
        if (pipe2(ends, O_CLOEXEC) != 0) std::abort();
        std::vector<char*> words{const_cast<char*>(program.c_str())};
        for (const std::string& argument : arguments)
            words.push_back(const_cast<char*>(argument.c_str()));
        words.push_back(nullptr);
        child_ = fork();
        if (child_ == 0) {
            dup2(ends[1], STDOUT_FILENO);
            execv(program.c_str(), words.data());
            _exit(127);
        }
        close(ends[1]);
        out_ = ends[0];
    }
    /// Kills it after a time (signal 9) and gives the whole lines that it had printed. Few enough
    /// to stay in the pipe (64 KiB).
    std::vector<std::string> kill_after(std::chrono::microseconds time) {
        return kill_after(0, time);
    }
    /// The same, a time after it has printed so many lines: so far it had come, however slowly.
    std::vector<std::string> kill_after(std::size_t printed, std::chrono::microseconds time) {
        std::string text;
        char piece[4096];
        const auto take = [&] {
            const ssize_t got = read(out_, piece, sizeof piece);
            if (got > 0) text.append(piece, static_cast<std::size_t>(got));
            return got > 0;
        };
        while (static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n')) < printed &&
               take()) {
        }
        std::this_thread::sleep_for(time);
        ::kill(child_, SIGKILL);
        while (take()) {
        }
        close(out_);
        int status = 0;
        waitpid(child_, &status, 0);
        EXPECT_TRUE(WIFSIGNALED(status)) << "it ended by itself";
        std::vector<std::string> lines;
        for (std::size_t from = 0, end = 0; (end = text.find('\n', from)) != std::string::npos;
             from = end + 1)
            lines.push_back(text.substr(from, end - from));
        return lines;
    }

  private:
    pid_t child_ = -1;
    int out_ = -1;
};

}  // namespace rankwright::testing

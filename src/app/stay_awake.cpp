#include "app/stay_awake.h"

#include <algorithm>

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

namespace rankwright::app {

namespace {

// Runs `arguments` with `input` as its standard input and nowhere to write. −1 on failure.
pid_t spawn_quietly(char* const* arguments, int input) {
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, input, STDIN_FILENO);
    posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
    pid_t child = -1;
    const int error = posix_spawnp(&child, arguments[0], &actions, nullptr, arguments, environ);
    posix_spawn_file_actions_destroy(&actions);
    return error == 0 ? child : -1;
}

}  // namespace

StayAwake::StayAwake() {
    std::array<int, 2> ends{-1, -1};
    if (pipe2(ends.data(), O_CLOEXEC) != 0) return;
    lifeline_ = ends[1];
    // `cat` waits for the end of its input, which comes however this program ends.
    char system[] = "systemd-inhibit";
    char what[] = "--what=idle:sleep";
    char who[] = "--who=Rankwright";
    char why[] = "--why=an organ is being tuned";
    char cat[] = "cat";
    char* const of_system[] = {system, what, who, why, cat, nullptr};
    char desktop[] = "gnome-session-inhibit";
    char option[] = "--inhibit";
    char idle[] = "idle:suspend";
    char* const of_desktop[] = {desktop, option, idle, cat, nullptr};
    inhibitors_ = {spawn_quietly(of_system, ends[0]), spawn_quietly(of_desktop, ends[0])};
    close(ends[0]);
}

StayAwake::~StayAwake() {
    if (lifeline_ >= 0) close(lifeline_);
    for (const pid_t child : inhibitors_)
        if (child > 0) waitpid(child, nullptr, 0);
}

bool StayAwake::granted() {
    for (pid_t& child : inhibitors_)
        if (child > 0 && waitpid(child, nullptr, WNOHANG) != 0) child = -1;
    return std::any_of(inhibitors_.begin(), inhibitors_.end(),
                       [](pid_t child) { return child > 0; });
}

}  // namespace rankwright::app

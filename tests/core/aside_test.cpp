#include "core/aside.h"

#include <atomic>
#include <chrono>
#include <thread>

#include <gtest/gtest.h>

namespace rankwright {
namespace aside_test {

using namespace std::chrono_literals;

template <typename Asked>
int wait_for(Asked& aside) {
    for (int i = 0; i < 2000; ++i) {
        if (const auto answer = aside.answer()) return *answer;
        std::this_thread::sleep_for(5ms);
    }
    return -1;
}

TEST(Aside, AnswersOnceWithoutKeepingTheAskerWaiting) {
    std::atomic<bool> go_on{false};
    Aside<int, int> aside([&](const int& question) {
        while (!go_on.load())
            std::this_thread::sleep_for(1ms);
        return 2 * question;
    });
    EXPECT_FALSE(aside.answer());
    aside.ask(21);  // comes back though the work hasn't
    EXPECT_FALSE(aside.answer());
    go_on = true;
    EXPECT_EQ(wait_for(aside), 42);
    EXPECT_FALSE(aside.answer());
}

TEST(Aside, ALaterQuestionTakesTheWaitingOnesPlace) {
    std::atomic<bool> go_on{false}, begun{false};
    std::atomic<int> worked{0};
    Aside<int, int> aside([&](const int& question) {
        begun = true;
        while (!go_on.load())
            std::this_thread::sleep_for(1ms);
        ++worked;
        return question;
    });
    aside.ask(1);
    while (!begun.load())
        std::this_thread::sleep_for(1ms);
    aside.ask(2);
    aside.ask(3);
    go_on = true;
    int last = wait_for(aside);
    if (last == 1) last = wait_for(aside);
    EXPECT_EQ(last, 3);
    EXPECT_EQ(worked.load(), 2);
}

TEST(Aside, LeavesWithAQuestionUnanswered) {
    Aside<int, int> aside([](const int& question) { return question; });
    aside.ask(1);
}

}  // namespace aside_test
}  // namespace rankwright

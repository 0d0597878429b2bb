#include "app/stay_awake.h"

#include "support/sound_server.h"

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

namespace rankwright::app {
namespace stay_awake_test {

using std::chrono::milliseconds;

// A folder of its own as PATH, with inhibitors that the test writes.
class StayAwakeTest : public ::testing::Test {
  protected:
    StayAwakeTest() {
        std::string pattern =
            (std::filesystem::temp_directory_path() / "rankwright-XXXXXX").string();
        folder_ = mkdtemp(pattern.data());
        path_ = std::getenv("PATH");
        setenv("PATH", folder_.c_str(), 1);
    }
    ~StayAwakeTest() override {
        setenv("PATH", path_.c_str(), 1);
        std::filesystem::remove_all(folder_);
    }
    void inhibitor(const std::string& script) const {
        const auto file = folder_ / "systemd-inhibit";
        std::ofstream(file) << "#!/bin/sh\n" << script << "\n";
        std::filesystem::permissions(file, std::filesystem::perms::owner_all);
    }
    template <typename Condition>
    static bool comes_true(Condition condition) {
        for (int tries = 0; tries < 1000; ++tries) {
            if (condition()) return true;
            std::this_thread::sleep_for(milliseconds{10});
        }
        return false;
    }

    std::filesystem::path folder_;
    std::string path_;
};

TEST_F(StayAwakeTest, IsNotGrantedWhereNobodyCanGrantIt) {
    StayAwake awake;
    EXPECT_FALSE(awake.granted());
}

TEST_F(StayAwakeTest, IsNotGrantedWhenTheSystemRefuses) {
    inhibitor("exit 1");
    StayAwake awake;
    EXPECT_TRUE(comes_true([&] { return !awake.granted(); }));
}

TEST_F(StayAwakeTest, AsksForIdleAndSleepAndLetsGoAtTheEnd) {
    inhibitor("echo \"$@\" > " + (folder_ / "asked").string() + "; /bin/cat; echo over > " +
              (folder_ / "over").string());
    {
        StayAwake awake;
        EXPECT_TRUE(comes_true([&] { return !testing::read_text(folder_ / "asked").empty(); }));
        EXPECT_TRUE(awake.granted());
        EXPECT_FALSE(std::filesystem::exists(folder_ / "over"));
    }
    EXPECT_THAT(testing::read_text(folder_ / "asked"), ::testing::HasSubstr("idle:sleep"));
    EXPECT_TRUE(std::filesystem::exists(folder_ / "over"));
}

}  // namespace stay_awake_test
}  // namespace rankwright::app

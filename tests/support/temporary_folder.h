// A folder of a test's own.
#pragma once

#include <filesystem>
#include <string>

#include <stdlib.h>

namespace rankwright::testing {

/// A folder of the test's own, gone with it.
class TemporaryFolder {
  public:
    TemporaryFolder() {
        char name[] = "/tmp/rankwright-test-XXXXXX";
        path_ = mkdtemp(name);
    }
    ~TemporaryFolder() { std::filesystem::remove_all(path_); }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
    std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

  private:
    std::filesystem::path path_;
};

}  // namespace rankwright::testing

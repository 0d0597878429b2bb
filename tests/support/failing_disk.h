// A disk that fails, as SQLite sees it: a layer of the test's own between SQLite and the real one
// (https://sqlite.org/vfs.html, "VFS shims").
#pragma once

namespace rankwright::testing {

/// From its beginning to its end every SQLite database of this process is on such a disk, the open
/// ones too. One at a time.
class FailingDisk {
  public:
    enum class Failure {
        none,
        full,       ///< nothing more can be written
        broken,     ///< reading works, writing is an error
        read_only,  ///< nothing can be made, opened to write, or written
    };
    explicit FailingDisk(Failure failure);
    ~FailingDisk();
    FailingDisk(const FailingDisk&) = delete;
    FailingDisk& operator=(const FailingDisk&) = delete;
};

}  // namespace rankwright::testing

#include "support/failing_disk.h"

#include <atomic>
#include <cstdlib>

#include <sqlite3.h>

namespace rankwright::testing {

namespace {

std::atomic<FailingDisk::Failure> failure{FailingDisk::Failure::none};
sqlite3_vfs* real_disk = nullptr;

/// What SQLite holds of an open file: ours, and the real one right after it.
struct File {
    sqlite3_file base;
    sqlite3_file* real() { return reinterpret_cast<sqlite3_file*>(this + 1); }
};
sqlite3_file* real(sqlite3_file* file) { return reinterpret_cast<File*>(file)->real(); }

int failing_write(sqlite3_file* file, const void* data, int count, sqlite3_int64 at) {
    switch (failure.load()) {
        case FailingDisk::Failure::full:
            return SQLITE_FULL;
        case FailingDisk::Failure::broken:
            return SQLITE_IOERR_WRITE;
        case FailingDisk::Failure::read_only:
            return SQLITE_READONLY;
        case FailingDisk::Failure::none:
            break;
    }
    return real(file)->pMethods->xWrite(real(file), data, count, at);
}

#define PASS(name, parameters, ...) \
    [] parameters { return real(file)->pMethods->name(real(file) __VA_OPT__(, ) __VA_ARGS__); }

const sqlite3_io_methods kMethods{
    3,
    PASS(xClose, (sqlite3_file * file)),
    PASS(xRead, (sqlite3_file * file, void* data, int count, sqlite3_int64 at), data, count, at),
    failing_write,
    PASS(xTruncate, (sqlite3_file * file, sqlite3_int64 size), size),
    PASS(xSync, (sqlite3_file * file, int flags), flags),
    PASS(xFileSize, (sqlite3_file * file, sqlite3_int64* size), size),
    PASS(xLock, (sqlite3_file * file, int lock), lock),
    PASS(xUnlock, (sqlite3_file * file, int lock), lock),
    PASS(xCheckReservedLock, (sqlite3_file * file, int* result), result),
    PASS(xFileControl, (sqlite3_file * file, int what, void* argument), what, argument),
    PASS(xSectorSize, (sqlite3_file * file)),
    PASS(xDeviceCharacteristics, (sqlite3_file * file)),
    PASS(xShmMap, (sqlite3_file * file, int page, int size, int extend, void volatile** at), page,
         size, extend, at),
    PASS(xShmLock, (sqlite3_file * file, int offset, int n, int flags), offset, n, flags),
    PASS(xShmBarrier, (sqlite3_file * file)),
    PASS(xShmUnmap, (sqlite3_file * file, int remove), remove),
    PASS(xFetch, (sqlite3_file * file, sqlite3_int64 at, int count, void** data), at, count, data),
    PASS(xUnfetch, (sqlite3_file * file, sqlite3_int64 at, void* data), at, data)};
#undef PASS

int failing_open(sqlite3_vfs*, const char* name, sqlite3_file* file, int flags, int* out_flags) {
    if (failure.load() == FailingDisk::Failure::read_only) {
        // As a file system that is mounted read-only does it, through SQLite's own fall-back.
        flags &= ~(SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE);
        flags |= SQLITE_OPEN_READONLY;
    }
    const int result = real_disk->xOpen(real_disk, name, real(file), flags, out_flags);
    file->pMethods = real(file)->pMethods != nullptr ? &kMethods : nullptr;
    return result;
}

/// Becomes the default for good at the start of the process, so that files opened before a failure
/// begins have it too.
const int kRegistered = [] {
    real_disk = sqlite3_vfs_find(nullptr);
    if (real_disk == nullptr) std::abort();
    static sqlite3_vfs ours = *real_disk;
    ours.zName = "failing";
    ours.szOsFile = static_cast<int>(sizeof(File)) + real_disk->szOsFile;
    ours.xOpen = failing_open;
    return sqlite3_vfs_register(&ours, 1);
}();

}  // namespace

FailingDisk::FailingDisk(Failure wanted) { failure.store(wanted); }
FailingDisk::~FailingDisk() { failure.store(Failure::none); }

}  // namespace rankwright::testing

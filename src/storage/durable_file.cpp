#include "storage/durable_file.h"

#include "core/text.h"

#include <cerrno>
#include <cstring>
#include <string>

#include <fcntl.h>
#include <unistd.h>

namespace rankwright::storage {

namespace {

/// Closed when it goes.
class OpenFile {
  public:
    OpenFile(const std::filesystem::path& file, int flags)
        : descriptor_(::open(file.c_str(), flags | O_CLOEXEC, 0666)) {}
    ~OpenFile() {
        if (descriptor_ >= 0) ::close(descriptor_);
    }
    OpenFile(const OpenFile&) = delete;
    OpenFile& operator=(const OpenFile&) = delete;
    bool is_open() const { return descriptor_ >= 0; }
    bool write(std::string_view text) const {
        while (!text.empty()) {
            const ssize_t count = ::write(descriptor_, text.data(), text.size());
            if (count < 0 && errno == EINTR) continue;
            if (count <= 0) return false;
            text.remove_prefix(static_cast<std::size_t>(count));
        }
        return true;
    }
    bool settle() const { return ::fsync(descriptor_) == 0; }

  private:
    int descriptor_;
};

tl::unexpected<Error> failed(const std::filesystem::path& file) {
    return tl::unexpected<Error>(
        Error{ErrorKind::storage,
              text_of({"can't be written (", std::strerror(errno),
                       "): look whether its folder is there, can be written and has room"}),
              Place{file.string()}});
}

}  // namespace

Result<void> write_durably(const std::filesystem::path& file, std::string_view text) {
    const std::filesystem::path part = file.string() + ".part";
    {
        const OpenFile out(part, O_WRONLY | O_CREAT | O_TRUNC);
        if (!out.is_open()) return failed(file);
        if (!out.write(text) || !out.settle()) {
            const auto error = failed(file);
            ::unlink(part.c_str());
            return error;
        }
    }
    return move_into_place(part, file);
}

Result<void> move_into_place(const std::filesystem::path& finished,
                             const std::filesystem::path& file) {
    if (::rename(finished.c_str(), file.c_str()) != 0) {
        const auto error = failed(file);
        ::unlink(finished.c_str());
        return error;
    }
    // The new name is in the folder, so that must be on disk as well.
    const OpenFile folder(file.has_parent_path() ? file.parent_path() : ".",
                          O_RDONLY | O_DIRECTORY);
    if (folder.is_open()) folder.settle();
    return {};
}

}  // namespace rankwright::storage

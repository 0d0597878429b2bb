#include "storage/at_work.h"

#include "core/text.h"

#include <algorithm>
#include <cerrno>
#include <functional>
#include <system_error>
#include <utility>

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

namespace rankwright::storage {

namespace {

/// In the abstract namespace (unix(7)), where names lie in no folder and go with their owner.
sockaddr_un name_of(const std::filesystem::path& book, const std::string& organ) {
    std::error_code ignored;
    std::filesystem::path file = std::filesystem::weakly_canonical(book, ignored);
    if (file.empty()) file = std::filesystem::absolute(book, ignored);
    const std::size_t both = std::hash<std::string>{}(file.string() + "\n" + organ);
    const std::string name = text_of({"rankwright at work ", std::to_string(both)});
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::copy(name.begin(), name.end(), address.sun_path + 1);
    return address;
}

}  // namespace

Result<AtWork> AtWork::begin(const std::filesystem::path& book, const std::string& organ) {
    AtWork work(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
    const sockaddr_un name = name_of(book, organ);
    const bool bound =
        ::bind(work.socket_, reinterpret_cast<const sockaddr*>(&name), sizeof name) == 0;
    // A system that can't tell is no reason not to work.
    if (!bound && errno == EADDRINUSE)
        return tl::unexpected<Error>(
            Error{ErrorKind::storage,
                  "another Rankwright is at work on a visit to this organ, and would not know of "
                  "this: do it in its window (L opens the work list and changes it), or leave that "
                  "first",
                  Place{book.string()}});
    return work;
}

AtWork::~AtWork() {
    if (socket_ >= 0) ::close(socket_);
}
AtWork::AtWork(AtWork&& other) noexcept : socket_(std::exchange(other.socket_, -1)) {}
AtWork& AtWork::operator=(AtWork&& other) noexcept {
    std::swap(socket_, other.socket_);
    return *this;
}

}  // namespace rankwright::storage

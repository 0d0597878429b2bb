// Who adds to an organ's visits: one program at a time.
#pragma once

#include "core/result.h"

#include <filesystem>
#include <string>

namespace rankwright::storage {

/// While it lives, no other program on this computer goes on with a visit to the organ, or begins
/// one, in the same book: two that did would each have a work list of their own. Held by the
/// system, not by a file: it ends with the program, however that ends. What is read needs none.
class AtWork {
  public:
    /// `organ` is its slug; the book needn't be there yet. Fails with what to do when another
    /// program is at work.
    static Result<AtWork> begin(const std::filesystem::path& book, const std::string& organ);
    ~AtWork();
    AtWork(AtWork&&) noexcept;
    AtWork& operator=(AtWork&&) noexcept;

  private:
    explicit AtWork(int socket) : socket_(socket) {}
    int socket_ = -1;
};

}  // namespace rankwright::storage

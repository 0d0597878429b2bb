// What is done with the whole tuning book while a window is open: on a thread of its own, so that
// the window never waits for a disk.
#pragma once

#include "core/aside.h"
#include "overlay/book_page.h"
#include "visit/command.h"

#include <filesystem>
#include <string>

namespace rankwright::app {

/// Belongs to the window thread.
class BookDesk {
  public:
    /// Of that book; of an empty name there is nothing to do.
    explicit BookDesk(const std::filesystem::path& book);

    /// Never waits. While something is being done nothing else is begun.
    void ask(const visit::CareForBook& deed);
    /// As it stands now.
    const overlay::BookView& view();

  private:
    /// What came of a question: of `look` the places, of all else what to say.
    struct Answer {
        visit::CareForBook::What what = visit::CareForBook::What::look;
        overlay::BookView found;
    };
    static Answer answer(const std::filesystem::path& book, const visit::CareForBook& deed);

    overlay::BookView view_;
    Aside<visit::CareForBook, Answer> aside_;
};

}  // namespace rankwright::app

#include "storage/book_writer.h"

#include "core/text.h"
#include "core/thread_role.h"
#include "storage/book_json.h"
#include "storage/durable_file.h"

#include <cstdio>
#include <iterator>
#include <utility>

namespace rankwright::storage {

BookWriter::BookWriter(std::filesystem::path book, visit::VisitRecord visit, Seconds between_tries)
    : file_(std::move(book)),
      between_tries_(between_tries),
      visit_(std::move(visit)),
      visit_id_(visit_.id),
      acknowledged_(visit_.last_serial),
      thread_([this](const std::stop_token& stop) { work(stop); }) {}

BookWriter::~BookWriter() = default;

void BookWriter::post(visit::BookEntry entry) {
    assert_thread(ThreadRole::listening);
    held_.fetch_add(1);
    {
        const std::lock_guard lock(mutex_);
        posted_.push_back(std::move(entry));
    }
    posted_or_stopped_.notify_one();
}

void BookWriter::end_visit(visit::WallTime at) {
    {
        const std::lock_guard lock(mutex_);
        end_ = at;
    }
    posted_or_stopped_.notify_one();
}

std::string BookWriter::trouble() const {
    const std::lock_guard lock(mutex_);
    return trouble_;
}

std::string BookWriter::visit_id() const {
    const std::lock_guard lock(mutex_);
    return visit_id_;
}

void BookWriter::work(const std::stop_token& stop) {
    set_thread_role(ThreadRole::storage);
    for (;;) {
        // Asked before taking: what was posted before the end is then taken for sure.
        const bool last = stop.stop_requested();
        take_posted();
        const bool all_written = write();
        if (last) {
            if (!all_written) rescue();
            return;
        }
        std::unique_lock lock(mutex_);
        if (all_written)
            posted_or_stopped_.wait(lock, stop, [&] { return !posted_.empty() || end_; });
        else
            posted_or_stopped_.wait_for(lock, stop, between_tries_, [] { return false; });
    }
}

void BookWriter::take_posted() {
    const std::lock_guard lock(mutex_);
    left_.insert(left_.end(), std::make_move_iterator(posted_.begin()),
                 std::make_move_iterator(posted_.end()));
    posted_.clear();
    if (end_) left_end_ = std::exchange(end_, std::nullopt);
}

bool BookWriter::write() {
    const auto written = write_what_is_left();
    // Opened anew for the next try: the disk may have been taken out and put back.
    if (!written) book_.reset();
    const std::lock_guard lock(mutex_);
    trouble_ =
        written ? "" : text_of({"the tuning book ", file_.string(), " ", written.error().message});
    visit_id_ = visit_.id;
    return written.has_value();
}

Result<void> BookWriter::write_what_is_left() {
    if (book_ && book_->moved()) book_.reset();
    if (!book_) {
        auto opened = TuningBook::open(file_);
        if (!opened) return tl::unexpected<Error>(opened.error());
        book_ = std::move(*opened);
        begun_ = false;
    }
    if (!left_.empty() && !begun_) {
        if (auto begun = book_->begin_visit(visit_); !begun) return begun;
        begun_ = true;
    }
    if (!left_.empty()) {
        auto visit = book_->append(visit_.id, left_);
        if (!visit) return tl::unexpected<Error>(visit.error());
        if (book_->moved())
            return fail(ErrorKind::storage,
                        "was moved or removed while it was written: it is begun anew");
        visit_.id = *visit;
        note_written();
    }
    if (left_end_ && (begun_ || visit_.last_serial > 0)) {
        if (auto ended = book_->end_visit(visit_.id, *left_end_); !ended) return ended;
    }
    left_end_.reset();
    return {};
}

void BookWriter::note_written() {
    std::uint64_t through = acknowledged_.load();
    for (const visit::BookEntry& entry : left_)
        beyond_.insert(entry.serial);
    while (!beyond_.empty() && *beyond_.begin() <= through + 1) {
        through = std::max(through, *beyond_.begin());
        beyond_.erase(beyond_.begin());
    }
    held_.fetch_sub(left_.size());
    left_.clear();
    acknowledged_.store(through);
}

void BookWriter::rescue() {
    if (left_.empty()) return;
    const std::string document =
        std::string(kDocumentHead) + visit_line(visit_, left_) + kDocumentTail;
    const std::string count = std::to_string(left_.size());
    const std::string name = file_.filename().string() + ".rescued-" + visit_.id.substr(0, 8) +
                             "-" + std::to_string(left_.front().serial) + ".json";
    std::error_code ignored;
    for (const std::filesystem::path& folder :
         {file_.parent_path(), std::filesystem::temp_directory_path(ignored)}) {
        const std::filesystem::path rescued = folder / name;
        if (!write_durably(rescued, document)) continue;
        std::fprintf(stderr,
                     "rankwright: %s entries couldn't be written: %s. They are in %s; once the "
                     "book can be written, `rankwright book import '%s'` brings them in.\n",
                     count.c_str(), trouble().c_str(), rescued.c_str(), rescued.c_str());
        return;
    }
    std::fprintf(stderr,
                 "rankwright: %s entries couldn't be written, nor put into a file: %s. Here they "
                 "are; save the following lines in a file, and `rankwright book import` will read "
                 "it.\n%s",
                 count.c_str(), trouble().c_str(), document.c_str());
}

}  // namespace rankwright::storage

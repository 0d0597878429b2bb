// The tables of the tuning book, and how an older book becomes a newer one.
#pragma once

#include "core/result.h"

#include <filesystem>
#include <span>

#include <SQLiteCpp/SQLiteCpp.h>

namespace rankwright::storage {

/// How the database is laid out, step by step: a book of version n (`PRAGMA user_version`) has been
/// through the first n steps. A step that was released is never changed; a new one is added.
std::span<const char* const> book_steps();

/// What can make a file no book of ours, written for the technician.
struct WrongBook {
    std::string message;
};

/// Brings a new or older book to the version of `steps`, all in one transaction. Throws WrongBook,
/// with the file untouched, when it is another program's database or a newer book than this program
/// knows; SQLite::Exception when it can't be read or written.
void bring_up_to_date(SQLite::Database& book, std::span<const char* const> steps);

/// The same check without writing: also an older book is wrong here.
void require_up_to_date(SQLite::Database& book);

/// What went wrong at a book, and what to do about it.
Error book_error(const SQLite::Exception& failure, const std::filesystem::path& file);
Error book_error(const WrongBook& failure, const std::filesystem::path& file);

/// Does `work` and gives its result, or the error when SQLite or the book was in its way.
template <typename Work>
auto attempt(const std::filesystem::path& file, Work work) -> Result<decltype(work())> {
    try {
        if constexpr (std::is_void_v<decltype(work())>) {
            work();
            return {};
        } else {
            return work();
        }
    } catch (const SQLite::Exception& failure) {
        return tl::unexpected<Error>(book_error(failure, file));
    } catch (const WrongBook& failure) {
        return tl::unexpected<Error>(book_error(failure, file));
    }
}

}  // namespace rankwright::storage

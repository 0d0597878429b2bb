// What the subcommands of `rankwright book` share.
#pragma once

#include "app/report.h"
#include "storage/tuning_book.h"

#include <filesystem>
#include <functional>
#include <string>

#include <CLI/CLI.hpp>

namespace rankwright::app {

struct BookOptions {
    std::string book;  ///< empty: the usual one
    bool json = false;
    std::string organ;
    std::string visit;
};

/// --book and --json.
void add_book_options(CLI::App& command, BookOptions& options);
std::filesystem::path book_file(const BookOptions& options);
/// Of a list with nothing on it: that the book that was named isn't there, where that is so.
std::string where_no_book(const BookOptions& options);
/// Does something with the book that the options name, or says why it can't be opened.
ExitCode with_book(const BookOptions& options,
                   const std::function<ExitCode(storage::TuningBook&)>& work);

/// The lasting word of the organ that is named so, or of the only one in the book when none is
/// named.
Result<std::string> organ_of(const storage::TuningBook& book, const std::string& name);
/// The visit whose id begins so.
Result<std::string> visit_of(const storage::TuningBook& book, const std::string& beginning);

/// The subcommands that move the book's entries to and from other files, or look after it.
void add_book_file_commands(CLI::App& book, ExitCode& code);

}  // namespace rankwright::app

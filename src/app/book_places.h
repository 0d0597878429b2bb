// Where books may be copied to, and other books and exported files that lie about there.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace rankwright::app {

struct BookPlaces {
    std::vector<std::string> folders;  ///< sticks and other media, the home folder, this one
    std::vector<std::string> books;    ///< other tuning books there, the latest first
    std::vector<std::string> exports;  ///< what `book export` wrote there, the latest first
};

/// Looks into media that are plugged in, the home folder and the one worked in, and into their
/// folders. `own` is the book in use: it isn't listed. May take as long as the disks take.
BookPlaces find_book_places(const std::filesystem::path& own);

}  // namespace rankwright::app

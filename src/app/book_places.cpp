#include "app/book_places.h"

#include <algorithm>
#include <array>
#include <cstdlib>
#include <fstream>
#include <string_view>
#include <system_error>

#include <sys/stat.h>

namespace rankwright::app {

namespace {

namespace fs = std::filesystem;

/// A disk with very many files mustn't keep the technician waiting.
constexpr int kMostLookedAt = 5000;

std::string beginning_of(const fs::path& file, std::size_t bytes) {
    std::ifstream in(file, std::ios::binary);
    std::string text(bytes, '\0');
    in.read(text.data(), static_cast<std::streamsize>(bytes));
    text.resize(static_cast<std::size_t>(in.gcount()));
    return text;
}

// The header of a database and its application id: https://sqlite.org/fileformat.html, 1.3.
bool is_book(const fs::path& file) {
    using namespace std::string_view_literals;
    const std::string head = beginning_of(file, 100);
    return head.size() == 100 && head.starts_with("SQLite format 3\0"sv) &&
           std::string_view(head).substr(68, 4) == "RkTB";
}

bool is_export(const fs::path& file) {
    constexpr std::size_t kHead = 200;
    const std::string head = beginning_of(file, kHead);
    return head.find("\"rankwright tuning book\"") != std::string::npos;
}

std::vector<fs::path> folders_in(const fs::path& folder) {
    std::vector<fs::path> folders;
    std::error_code error;
    for (fs::directory_iterator one(folder, error), end; !error && one != end;
         one.increment(error)) {
        std::error_code ignored;
        if (one->is_directory(ignored) && !one->path().filename().string().starts_with("."))
            folders.push_back(one->path());
    }
    std::sort(folders.begin(), folders.end());
    return folders;
}

/// Something else than the disk that its folder is on.
bool is_plugged_in(const fs::path& folder) {
    struct stat inside {
    }, outside{};
    return ::stat(folder.c_str(), &inside) == 0 &&
           ::stat(folder.parent_path().c_str(), &outside) == 0 && inside.st_dev != outside.st_dev;
}

std::vector<fs::path> places() {
    std::vector<fs::path> all;
    const auto add = [&](const fs::path& folder) {
        std::error_code ignored;
        if (!fs::is_directory(folder, ignored)) return;
        const fs::path real = fs::weakly_canonical(folder, ignored);
        if (std::find(all.begin(), all.end(), real) == all.end()) all.push_back(real);
    };
    // Where desktops put media that are plugged in (udisks: /run/media/USER or /media/USER).
    const char* user = std::getenv("USER");
    const std::string own = user != nullptr ? user : "";
    for (const fs::path& root : {"/media" / fs::path(own), "/run/media" / fs::path(own),
                                 fs::path("/media"), fs::path("/mnt")})
        for (const fs::path& medium : folders_in(root))
            if (is_plugged_in(medium)) add(medium);
    if (const char* home = std::getenv("HOME")) add(home);
    std::error_code ignored;
    add(fs::current_path(ignored));
    return all;
}

struct Search {
    fs::path own;
    int looked_at = 0;
    std::vector<fs::path> books;
    std::vector<fs::path> exports;

    void look(const fs::path& folder) {
        std::error_code error;
        for (fs::directory_iterator one(folder, error), end;
             !error && one != end && ++looked_at < kMostLookedAt; one.increment(error)) {
            std::error_code ignored;
            const fs::path& file = one->path();
            const std::string kind = file.extension().string();
            if ((kind != ".sqlite" && kind != ".json") || !one->is_regular_file(ignored)) continue;
            if (fs::equivalent(file, own, ignored)) continue;
            if (kind == ".sqlite" && is_book(file)) books.push_back(file);
            if (kind == ".json" && is_export(file)) exports.push_back(file);
        }
    }
};

/// Each once, the latest first.
std::vector<std::string> listed(std::vector<fs::path> files) {
    const auto when = [](const fs::path& file) {
        std::error_code ignored;
        return fs::last_write_time(file, ignored);
    };
    std::sort(files.begin(), files.end());
    files.erase(std::unique(files.begin(), files.end()), files.end());
    std::stable_sort(files.begin(), files.end(),
                     [&](const fs::path& a, const fs::path& b) { return when(a) > when(b); });
    std::vector<std::string> names;
    names.reserve(files.size());
    for (const fs::path& file : files)
        names.push_back(file.string());
    return names;
}

}  // namespace

BookPlaces find_book_places(const fs::path& own) {
    BookPlaces found;
    Search search{own, 0, {}, {}};
    for (const fs::path& place : places()) {
        found.folders.push_back(place.string());
        search.look(place);
        for (const fs::path& folder : folders_in(place))
            search.look(folder);
    }
    found.books = listed(std::move(search.books));
    found.exports = listed(std::move(search.exports));
    return found;
}

}  // namespace rankwright::app

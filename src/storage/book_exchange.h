// The tuning book and other files: export, import, another book, a backup; and whether it is sound.
#pragma once

#include "core/result.h"
#include "storage/tuning_book.h"

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::storage {

/// What of a book is exported; everything when nothing is named.
struct Selection {
    std::optional<std::string> organ;  ///< slug
    std::optional<std::string> visit;  ///< id
};

/// How much went from one place to the other.
struct Moved {
    std::size_t visits = 0;   ///< that were looked at
    std::size_t entries = 0;  ///< that weren't there before
};

/// Every entry, withdrawn ones too, in a file that was complete before it took the place of an
/// older one. JSON loses nothing; `import_json` reads it.
Result<Moved> export_json(const TuningBook& book, const std::filesystem::path& file,
                          const Selection& selection);
/// A line an entry, in the form of RFC 4180 with a line of names first; what an entry doesn't have
/// is empty. `withdrawn` is true of what counts no more.
Result<Moved> export_csv(const TuningBook& book, const std::filesystem::path& file,
                         const Selection& selection);

/// Takes in what an exported file, or a file of rescued entries, has and the book hasn't; all or
/// nothing.
Result<Moved> import_json(TuningBook& book, const std::filesystem::path& file);
/// Takes in what another book has and this one hasn't; all or nothing. Nothing is lost and nothing
/// comes twice, however often and in whichever direction books are merged.
Result<Moved> merge(TuningBook& book, const TuningBook& other);

/// A copy, whole and sound, of the book as it stands now, while others may go on writing. `file`
/// must not be there yet.
Result<void> backup(const TuningBook& book, const std::filesystem::path& file);

/// Everything that is wrong with a book, in words; nothing when it is sound. Reads all of it.
Result<std::vector<std::string>> faults_of(const TuningBook& book);

}  // namespace rankwright::storage

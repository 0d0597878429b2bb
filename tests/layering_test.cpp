// Keeps the folders' dependencies one-way: this table says who may include whom, and which library.
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <string>

#include <gtest/gtest.h>

namespace {

struct Allowed {
    std::set<std::string> folders;
    std::set<std::string> libraries;
};

const std::set<std::string> kEverything{"core",   "organ", "listening", "simulator", "capture",
                                        "tuning", "visit", "storage",   "report",    "overlay"};
const std::map<std::string, Allowed> kTable{
    {"core", {{}, {"tl"}}},
    {"organ", {{"core"}, {}}},
    {"listening", {{"core"}, {"kissfft"}}},
    {"simulator", {{"core", "organ"}, {}}},
    {"capture", {{"core", "simulator"}, {"portaudio", "sndfile", "readerwriterqueue", "alsa"}}},
    {"tuning", {{"core", "organ", "listening"}, {}}},
    {"visit", {{"core", "organ", "tuning"}, {}}},
    {"storage", {{"core", "organ", "visit"}, {"toml++", "SQLiteCpp", "sqlite3", "nlohmann"}}},
    {"report", {{"core", "organ", "visit"}, {}}},
    {"overlay", {{"core", "organ", "tuning", "visit"}, {"imgui", "epoxy"}}},
    {"app", {kEverything, {"CLI", "GLFW", "nlohmann", "imgui", "epoxy"}}},
};

// The library a system header belongs to; empty for the standard library and POSIX.
std::string library_of(const std::string& header) {
    static const std::map<std::string, std::string> kPrefixes{{"tl/", "tl"},
                                                              {"kiss_fft", "kissfft"},
                                                              {"kissfft", "kissfft"},
                                                              {"portaudio", "portaudio"},
                                                              {"pa_", "portaudio"},
                                                              {"sndfile", "sndfile"},
                                                              {"readerwriter", "readerwriterqueue"},
                                                              {"alsa/", "alsa"},
                                                              {"toml++", "toml++"},
                                                              {"SQLiteCpp", "SQLiteCpp"},
                                                              {"sqlite3", "sqlite3"},
                                                              {"nlohmann", "nlohmann"},
                                                              {"imgui", "imgui"},
                                                              {"epoxy", "epoxy"},
                                                              {"GLFW", "GLFW"},
                                                              {"CLI", "CLI"},
                                                              {"GL/", "epoxy"}};
    for (const auto& [prefix, library] : kPrefixes)
        if (header.starts_with(prefix)) return library;
    return {};
}

// Calls `take(file, header, quoted)` for every #include under the sources, the file as a path from
// there; returns how many there were.
template <typename Take>
int scan_includes(Take take) {
    namespace fs = std::filesystem;
    static const std::regex kInclude(R"(^\s*#\s*include\s*([<"])([^>"]+)[>"])");
    int seen = 0;
    for (const auto& file : fs::recursive_directory_iterator(RANKWRIGHT_SOURCE)) {
        if (file.path().extension() != ".h" && file.path().extension() != ".cpp") continue;
        const fs::path relative = fs::relative(file.path(), RANKWRIGHT_SOURCE);
        std::ifstream in(file.path());
        for (std::string line; std::getline(in, line);) {
            std::smatch match;
            if (!std::regex_search(line, match, kInclude)) continue;
            ++seen;
            take(relative, match[2].str(), match[1] == "\"");
        }
    }
    return seen;
}

TEST(Layering, FoldersIncludeOnlyWhatTheTableNames) {
    const int seen = scan_includes(
        [](const std::filesystem::path& file, const std::string& header, bool quoted) {
            const std::string folder = file.begin()->string();
            ASSERT_TRUE(kTable.contains(folder)) << file << " is in a folder without a charter";
            const Allowed& allowed = kTable.at(folder);
            if (quoted) {
                const std::string from = header.substr(0, header.find('/'));
                EXPECT_TRUE(from == folder || allowed.folders.contains(from))
                    << file << " must not include " << header;
            } else if (const std::string library = library_of(header); !library.empty()) {
                EXPECT_TRUE(allowed.libraries.contains(library))
                    << file << " must not include <" << header << ">";
            }
        });
    EXPECT_GT(seen, 20) << "the scan found hardly any includes: wrong folder?";
}

// What hears one pipe knows nothing of pairs and mixtures, and pairs nothing of mixtures.
TEST(Layering, TheEarForOnePipeStandsAlone) {
    int inside = 0;
    scan_includes([&](const std::filesystem::path& file, const std::string& header, bool quoted) {
        if (!quoted || file.begin()->string() != "listening") return;
        ++inside;
        const std::string folder = file.parent_path().string();
        const bool mixture = folder == "listening/mixture", pair = folder == "listening/pair";
        EXPECT_TRUE(mixture || !header.starts_with("listening/mixture/")) << file << ": " << header;
        EXPECT_TRUE(mixture || pair || !header.starts_with("listening/pair/"))
            << file << ": " << header;
    });
    EXPECT_GT(inside, 20) << "the scan found hardly any includes: wrong folder?";
}

}  // namespace

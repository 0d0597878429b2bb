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

TEST(Layering, FoldersIncludeOnlyWhatTheTableNames) {
    namespace fs = std::filesystem;
    static const std::regex kInclude(R"(^\s*#\s*include\s*([<"])([^>"]+)[>"])");
    int seen = 0;
    for (const auto& file : fs::recursive_directory_iterator(RANKWRIGHT_SOURCE)) {
        if (file.path().extension() != ".h" && file.path().extension() != ".cpp") continue;
        const auto relative = fs::relative(file.path(), RANKWRIGHT_SOURCE);
        const std::string folder = relative.begin()->string();
        ASSERT_TRUE(kTable.contains(folder)) << relative << " is in a folder without a charter";
        const Allowed& allowed = kTable.at(folder);
        std::ifstream in(file.path());
        for (std::string line; std::getline(in, line);) {
            std::smatch match;
            if (!std::regex_search(line, match, kInclude)) continue;
            ++seen;
            const std::string target = match[2];
            if (match[1] == "\"") {
                const std::string from = target.substr(0, target.find('/'));
                EXPECT_TRUE(from == folder || allowed.folders.contains(from))
                    << relative << " must not include " << target;
            } else if (const std::string library = library_of(target); !library.empty()) {
                EXPECT_TRUE(allowed.libraries.contains(library))
                    << relative << " must not include <" << target << ">";
            }
        }
    }
    EXPECT_GT(seen, 20) << "the scan found hardly any includes: wrong folder?";
}

}  // namespace

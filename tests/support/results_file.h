// Figures of the accuracy tests as CSV, beside the test program (folder results/).
#pragma once

#include <filesystem>
#include <fstream>
#include <string>

namespace rankwright::testing {

/// A new CSV file results/NAME.csv in the working folder, its head line written.
inline std::ofstream results_file(const std::string& name, const std::string& head) {
    std::filesystem::create_directories("results");
    std::ofstream file("results/" + name + ".csv");
    file << head << '\n';
    return file;
}

}  // namespace rankwright::testing

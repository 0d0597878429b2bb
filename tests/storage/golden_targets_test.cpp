// The targets of the example instruments beside those of a second reckoning (golden/reckon.py, in
// another language and with tables of cents instead of fifths).
#include "organ/target.h"
#include "storage/examples.h"
#include "storage/instrument_file.h"

#include <map>

#include <gtest/gtest.h>

namespace rankwright::storage {
namespace golden_targets_test {

TEST(GoldenTargets, AreReckonedAlikeTwice) {
    const auto files = example_files();
    ASSERT_GE(files.size(), 3U);
    for (const auto& path : files) {
        const LoadedInstrument organ = load_instrument(path);
        ASSERT_TRUE(organ) << to_line(organ.error().front());
        std::map<std::string, organ::Pipe> pipes;
        for (const organ::Pipe& pipe : organ::pipes(*organ))
            pipes.emplace(to_string(pipe.id), pipe);
        std::ifstream golden(std::filesystem::path(RANKWRIGHT_GOLDEN) /
                             path.stem().replace_extension(".csv"));
        ASSERT_TRUE(golden) << "no golden for " << path << ": make it with golden/reckon.py";
        std::string line;
        int compared = 0;
        while (std::getline(golden, line)) {
            const std::size_t first = line.find(','), second = line.rfind(',');
            const auto pipe = pipes.find(line.substr(0, first));
            ASSERT_NE(pipe, pipes.end()) << line;
            const Hertz hz{std::stod(line.substr(first + 1, second - first - 1))};
            // A thousandth of a cent: the golden's own rounding at 16 Hz.
            EXPECT_NEAR(interval(hz, organ::target(*organ, pipe->second, {})).value(), 0.0, 1e-3)
                << line;
            EXPECT_NEAR(organ::cents_from_equal(*organ, pipe->second, {}).value(),
                        std::stod(line.substr(second + 1)), 1e-3)
                << line;
            ++compared;
        }
        EXPECT_GT(compared, 40) << path;
    }
}

}  // namespace golden_targets_test
}  // namespace rankwright::storage

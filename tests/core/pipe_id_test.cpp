#include "core/pipe_id.h"

#include <gtest/gtest.h>

namespace rankwright {
namespace pipe_id_test {

TEST(PipeId, ReadsBackWhatItWrote) {
    const PipeId id{"great", "mixture-iv", 3, 49};
    EXPECT_EQ(to_string(id), "great/mixture-iv/3/49");
    EXPECT_EQ(parse_pipe_id(to_string(id)), id);
}

TEST(PipeId, RefusesWhatIsNotAnId) {
    for (const char* text : {"", "great", "great/principal-8/1", "great/principal-8/1/0",
                             "great/principal-8/x/4", "great//1/4", "great/principal-8/1/4/9",
                             "great/principal-8/1/4x", "great/principal-8/1/-4"})
        EXPECT_FALSE(parse_pipe_id(text)) << text;
}

TEST(PipeId, SlugsArePlain) {
    EXPECT_EQ(slug("Chimney Flute 8′"), "chimney-flute-8");
    EXPECT_EQ(slug("  Quint 2 2/3' "), "quint-2-2-3");
    EXPECT_EQ(slug("Flûte"), "fl-te");
    EXPECT_EQ(slug("′′"), "x");
}

}  // namespace pipe_id_test
}  // namespace rankwright

// The audio callback alone, called as PortAudio would.
#include "capture/live_stream.h"

#include "support/allocation_count.h"

#include <array>
#include <memory>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::capture {
namespace live_stream_test {

constexpr SampleRate kRate{44100.0};
constexpr Seconds kAtOnce{0.0};

struct Callback : ::testing::Test {
    void call(const std::vector<float>& sound, PaStreamCallbackFlags flags = 0) {
        const auto frames = static_cast<unsigned long>(sound.size());
        EXPECT_EQ(receive(sound.data(), nullptr, frames, nullptr, flags, &inlet), paContinue);
    }
    CaptureRing ring{16};
    std::atomic<std::uint64_t> overruns{0};
    Inlet inlet{RingWriter(ring, kRate, 1, 2), overruns};
    CaptureBlock block;
};

TEST_F(Callback, PushesAndCounts) {
    call({0.1F, 0.2F, 0.3F});
    ASSERT_TRUE(ring.read(block, kAtOnce));
    EXPECT_EQ(block.frames, 3U);
    EXPECT_EQ(block.samples[2], 0.3F);
    EXPECT_EQ(block.stream, 2U);
    EXPECT_EQ(inlet.frames.load(), 3U);
    EXPECT_EQ(overruns.load(), 0U);
}

TEST_F(Callback, AnOverflowIsCountedWhateverOtherFlagsAreSet) {
    call({0.1F}, paInputOverflow | paInputUnderflow | paPrimingOutput);
    EXPECT_EQ(overruns.load(), 1U);
    ASSERT_TRUE(ring.read(block, kAtOnce));
    EXPECT_GT(block.first, FrameIndex{0}) << "the reader must see that frames are missing";
    call({0.1F}, paInputUnderflow | paOutputOverflow);
    EXPECT_EQ(overruns.load(), 1U);
}

TEST_F(Callback, WithoutSoundNothingIsPushedAndTheGapShows) {
    EXPECT_EQ(receive(nullptr, nullptr, 64, nullptr, 0, &inlet), paContinue);
    EXPECT_FALSE(ring.read(block, kAtOnce));
    EXPECT_EQ(inlet.frames.load(), 0U)
        << "the watchdog must not take silence of the driver for life";
    call({0.5F});
    ASSERT_TRUE(ring.read(block, kAtOnce));
    EXPECT_EQ(block.first, FrameIndex{64});
}

TEST_F(Callback, NeverAllocates) {
    if (!testing::allocations_are_counted()) GTEST_SKIP() << "a sanitizer brings its own allocator";
    const std::vector<float> sound(3000, 0.25F);
    const std::size_t before = testing::allocations();
    const auto proof = std::make_unique<int>(1);
    ASSERT_GT(testing::allocations(), before) << "the count itself doesn't work";

    const std::size_t count = testing::allocations();
    for (int i = 0; i < 100; ++i)  // also when the ring is full, and when the reader waits
        receive(sound.data(), nullptr, sound.size(), nullptr, i % 3 == 0 ? paInputOverflow : 0,
                &inlet);
    while (ring.read(block, kAtOnce)) {
    }
    receive(sound.data(), nullptr, sound.size(), nullptr, 0, &inlet);
    EXPECT_EQ(testing::allocations(), count);
    EXPECT_GT(ring.dropped_frames(), 0U);
    EXPECT_EQ(*proof, 1);
}

}  // namespace live_stream_test
}  // namespace rankwright::capture

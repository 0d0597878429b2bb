#include "capture/capture_ring.h"

#include <numeric>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::capture {
namespace capture_ring_test {

constexpr SampleRate kRate{48000.0};
constexpr Seconds kAtOnce{0.0};

// Every sample tells its place; exact in a float up to 2^24.
std::vector<float> ramp(std::int64_t first, std::size_t frames, std::size_t channels = 1) {
    std::vector<float> samples(frames * channels);
    std::iota(samples.begin(), samples.end(), static_cast<float>(first) * channels);
    return samples;
}

TEST(CaptureRing, PiecesOfAnyLengthComeOutStampedAndWhole) {
    for (const std::uint32_t channels : {1U, 2U}) {
        CaptureRing ring;
        RingWriter writer(ring, kRate, channels, 7);
        std::int64_t written = 0;
        for (const std::size_t piece : {1, 511, 512, 513, 64, 1024, 5000, 0, 37}) {
            writer.write(ramp(written, piece, channels).data(), piece);
            written += static_cast<std::int64_t>(piece);
        }
        std::int64_t read = 0;
        CaptureBlock block;
        while (ring.read(block, kAtOnce)) {
            EXPECT_EQ(block.first, FrameIndex{read});
            EXPECT_EQ(block.rate, kRate);
            EXPECT_EQ(block.stream, 7U);
            EXPECT_EQ(block.channels, channels);
            ASSERT_LE(block.frames, kBlockFrames);
            for (std::uint32_t i = 0; i < block.frames * channels; ++i)
                ASSERT_EQ(block.samples[i], static_cast<float>(read * channels + i));
            read += block.frames;
        }
        EXPECT_EQ(read, written);
        EXPECT_EQ(ring.dropped_frames(), 0U);
    }
}

TEST(CaptureRing, WhenFullItDropsCountsAndShowsTheGap) {
    CaptureRing ring(4);
    RingWriter writer(ring, kRate, 1, 0);
    const auto block_of_sound = ramp(0, kBlockFrames);
    for (int i = 0; i < 6; ++i)
        writer.write(block_of_sound.data(), kBlockFrames);
    EXPECT_EQ(ring.dropped_frames(), 2 * kBlockFrames);

    CaptureBlock block;
    const auto length = static_cast<std::int64_t>(kBlockFrames);
    for (std::int64_t i = 0; i < 4; ++i) {
        ASSERT_TRUE(ring.read(block, kAtOnce));
        EXPECT_EQ(block.first, FrameIndex{i * length});
    }
    EXPECT_FALSE(ring.read(block, kAtOnce));
    writer.write(block_of_sound.data(), 10);
    ASSERT_TRUE(ring.read(block, kAtOnce));
    EXPECT_EQ(block.first, FrameIndex{6 * length}) << "the gap must show";
    EXPECT_EQ(block.frames, 10U);
}

TEST(CaptureRing, FramesLostBeforeItShowAsAGap) {
    CaptureRing ring;
    RingWriter writer(ring, kRate, 1, 0);
    const auto sound = ramp(0, 100);
    writer.write(sound.data(), 100);
    writer.skip(33);
    writer.write(sound.data(), 100);
    CaptureBlock block;
    ASSERT_TRUE(ring.read(block, kAtOnce));
    ASSERT_TRUE(ring.read(block, kAtOnce));
    EXPECT_EQ(block.first, FrameIndex{133});
    EXPECT_EQ(ring.dropped_frames(), 0U);
}

TEST(CaptureRing, EmptyItWaitsAsLongAsToldAndNoShorter) {
    CaptureRing ring;
    CaptureBlock block;
    const auto before = std::chrono::steady_clock::now();
    EXPECT_FALSE(ring.read(block, Seconds{0.05}));
    EXPECT_GE(std::chrono::steady_clock::now() - before, std::chrono::milliseconds{49});
    EXPECT_FALSE(ring.read(block, Seconds{-1.0}));
}

// A writer that never waits beside a reader that is sometimes slow: what arrives is right, and what
// doesn't is counted.
TEST(CaptureRing, TwoThreadsLoseNothingUncounted) {
    CaptureRing ring(8);
    constexpr std::int64_t kFrames = 4'000'000;
    std::atomic<std::int64_t> total{0};  // written in all, once the writer is done
    std::jthread writing([&ring, &total] {
        RingWriter writer(ring, kRate, 1, 3);
        std::int64_t written = 0;
        std::size_t piece = 1;
        while (written < kFrames) {
            piece = piece * 7 % 1021;
            writer.write(ramp(written, piece).data(), piece);
            written += static_cast<std::int64_t>(piece);
            if (piece % 16 == 0) std::this_thread::yield();
        }
        total = written;
    });
    std::uint64_t heard = 0;
    std::int64_t next = 0;
    CaptureBlock block;
    while (true) {
        const bool done = total != 0;  // asked before reading, so that the last blocks are read
        if (!ring.read(block, Seconds{0.01})) {
            if (done) break;
            continue;
        }
        ASSERT_GE(block.first.value, next);
        next = block.first.value + block.frames;
        heard += block.frames;
        for (std::uint32_t i = 0; i < block.frames; ++i)
            ASSERT_EQ(block.samples[i], static_cast<float>(block.first.value + i));
        if (heard % 1000 == 0) std::this_thread::sleep_for(std::chrono::milliseconds{1});
    }
    EXPECT_EQ(heard + ring.dropped_frames(), static_cast<std::uint64_t>(total));
    EXPECT_GT(heard, 0U);
}

}  // namespace capture_ring_test
}  // namespace rankwright::capture

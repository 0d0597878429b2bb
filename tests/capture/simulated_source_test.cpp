#include "capture/simulated_source.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::capture {
namespace simulated_source_test {

using simulator::Chamber;

constexpr Seconds kPatience{5.0};

organ::Instrument one_stop() {
    organ::Stop stop;
    stop.id = "principal-8";
    stop.name = "Principal 8";
    stop.makes = {{}};
    organ::Division great;
    great.id = "great";
    great.name = "Great";
    great.stops = {stop};
    organ::Instrument organ;
    organ.name = "Loft of the tests";
    organ.divisions = {great};
    return organ;
}

void play_middle_c(Chamber& chamber) {
    chamber.draw_stop("great", "principal-8", true);
    chamber.key_down("great", 25);
}

std::vector<float> hear(Source& source, int blocks) {
    std::vector<float> all;
    CaptureBlock block;
    for (int i = 0; i < blocks; ++i) {
        EXPECT_TRUE(source.read(block, kPatience));
        EXPECT_EQ(block.first.value, i * static_cast<std::int64_t>(kBlockFrames));
        all.insert(all.end(), block.samples.begin(),
                   block.samples.begin() + block.frames * block.channels);
    }
    return all;
}

TEST(Simulated, IsTheChamberItself) {
    const auto organ = one_stop();
    for (const int channels : {1, 2}) {
        Chamber::Parameters parameters;
        parameters.rate = SampleRate{44100.0};
        parameters.channels = channels;
        const auto source = open_simulated(organ, parameters, {false, {}});
        source->post(play_middle_c);
        const auto heard = hear(*source, 60);

        Chamber chamber(organ, parameters);
        play_middle_c(chamber);
        std::vector<float> expected(heard.size());
        chamber.render(expected);
        EXPECT_EQ(heard, expected);
        EXPECT_GT(*std::max_element(heard.begin(), heard.end()), 1e-3F) << "nothing sounds";
        EXPECT_EQ(source->status().state, SourceState::running);
    }
}

TEST(Simulated, PacedSoundsTheSameAndIsNotEarly) {
    const auto organ = one_stop();
    const SimulationOptions each{false, [](Chamber& chamber, Seconds time) {
                                     if (time == Seconds{0.0}) play_middle_c(chamber);
                                     if (time > Seconds{0.2}) chamber.key_up("great", 25);
                                 }};
    const auto fast = open_simulated(organ, {}, each);
    const auto before = std::chrono::steady_clock::now();
    const auto paced = open_simulated(organ, {}, {true, each.each_block});
    EXPECT_EQ(hear(*paced, 40), hear(*fast, 40));
    EXPECT_GE(std::chrono::steady_clock::now() - before, std::chrono::milliseconds{426})
        << "40 blocks at 48 kHz";
    EXPECT_EQ(paced->status().dropped_frames, 0U);
}

TEST(Simulated, OrdersFromAnyThreadAreAllCarriedOutEachThreadsInOrder) {
    const auto organ = one_stop();
    std::vector<int> done[2];  // by the rendering thread alone, until the source is gone
    std::atomic<int> count{0};
    {
        const auto source = open_simulated(organ, {}, {true, {}});
        const auto orders = [&](std::size_t who) {
            for (int i = 0; i < 200; ++i)
                source->post([&, who, i](Chamber& chamber) {
                    chamber.knock();
                    done[who].push_back(i);
                    ++count;
                });
        };
        std::jthread one(orders, std::size_t{0});
        std::jthread other(orders, std::size_t{1});
        CaptureBlock block;
        const auto end = std::chrono::steady_clock::now() + std::chrono::seconds{10};
        while (count < 400 && std::chrono::steady_clock::now() < end)
            source->read(block, Seconds{0.1});
    }
    for (const auto& each : done) {
        EXPECT_EQ(each.size(), 200U);
        EXPECT_TRUE(std::is_sorted(each.begin(), each.end()));
    }
}

// A screen that is busy for a second must not grow the memory or stop the chamber.
TEST(Simulated, UnreadSoundIsDroppedCountedAndShowsAsAGap) {
    Chamber::Parameters quick;
    quick.rate = SampleRate{192000.0};  // the ring is full in 0.7 s
    const auto source = open_simulated(one_stop(), quick, {true, {}});
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds{30};
    while (source->status().dropped_frames == 0 && std::chrono::steady_clock::now() < end)
        std::this_thread::sleep_for(std::chrono::milliseconds{20});
    CaptureBlock block;
    std::int64_t next = 0;
    bool gap = false;
    for (int i = 0; i < 300 && !gap; ++i) {
        ASSERT_TRUE(source->read(block, kPatience));
        gap = block.first.value != next;
        next = block.first.value + block.frames;
    }
    EXPECT_TRUE(gap);
    EXPECT_GT(source->status().dropped_frames, 0U);
}

}  // namespace simulated_source_test
}  // namespace rankwright::capture

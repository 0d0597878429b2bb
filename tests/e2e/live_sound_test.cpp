// Live capture through PortAudio, ALSA and PulseAudio, with a virtual microphone.
#include "capture/inputs.h"
#include "capture/live_source.h"
#include "support/sound_files.h"
#include "support/sound_server.h"
#include "support/tones.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <functional>
#include <memory>
#include <numbers>
#include <optional>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright {
namespace live_sound_test {

using capture::CaptureBlock;
using capture::Source;
using capture::SourceState;
using capture::SourceStatus;
using std::chrono::milliseconds;
using std::chrono::seconds;
using ::testing::HasSubstr;
using testing::SoundServer;
using Clock = std::chrono::steady_clock;

constexpr Seconds kBlockPatience{0.1};

// Reads on until the status is as wanted; false when it isn't in time.
bool await(Source& source, const std::function<bool(const SourceStatus&)>& wanted, seconds time) {
    CaptureBlock block;
    const auto end = Clock::now() + time;
    while (Clock::now() < end) {
        if (wanted(source.status())) return true;
        source.read(block, kBlockPatience);
    }
    return wanted(source.status());
}

bool await(Source& source, SourceState state, seconds time) {
    return await(
        source, [state](const SourceStatus& s) { return s.state == state; }, time);
}

// The next block of a stream later than `stream`.
std::optional<CaptureBlock> later_block(Source& source, std::uint32_t stream, seconds time) {
    CaptureBlock block;
    const auto end = Clock::now() + time;
    while (Clock::now() < end)
        if (source.read(block, kBlockPatience) && block.stream > stream) return block;
    return std::nullopt;
}

testing::Tone sine(double hz, double rate, double length) {
    return {hz, rate, length, {0.5}, {0.3}};
}

class LiveSound : public ::testing::Test {
  protected:
    void write(const testing::Tone& tone) const {
        const int rate = static_cast<int>(tone.rate);
        ASSERT_TRUE(testing::write_sound(wav_, testing::render(tone), rate));
    }
    SoundServer server_;
    const std::filesystem::path wav_ = server_.folder() / "tone.wav";
};

TEST_F(LiveSound, ArrivesUnbrokenSampleBySample) {
    constexpr double kHz = 440.123;
    ASSERT_TRUE(server_.start());
    write(sine(kHz, 48000.0, 6.0));
    const auto source = capture::open_live();
    ASSERT_TRUE(await(*source, SourceState::running, seconds{10})) << source->status().message;
    const testing::Process player = server_.play(wav_);
    std::vector<float> heard;
    std::optional<FrameIndex> expected;
    CaptureBlock block;
    while (heard.size() < 8 * 48000) {
        ASSERT_TRUE(source->read(block, Seconds{2.0})) << source->status().message;
        ASSERT_EQ(block.first, expected.value_or(block.first)) << "a gap in the stamps";
        expected = block.first + block.frames;
        ASSERT_EQ(block.channels, 1U);
        ASSERT_EQ(block.rate, SampleRate{48000.0});
        ASSERT_EQ(block.stream, 0U);
        heard.insert(heard.end(), block.samples.begin(), block.samples.begin() + block.frames);
    }
    EXPECT_EQ(source->status().dropped_frames, 0U);
    EXPECT_EQ(source->status().overruns, 0U);

    const auto loud = [](float x) { return std::abs(x) > 0.1F; };
    const auto begin = std::find_if(heard.begin(), heard.end(), loud) - heard.begin() + 10;
    const auto end = heard.rend() - std::find_if(heard.rbegin(), heard.rend(), loud) - 10;
    EXPECT_NEAR(static_cast<double>(end - begin) / 48000.0, 6.0, 0.01);
    // A sine obeys x[n] = 2 cos(ω) x[n−1] − x[n−2]; one lost or doubled sample breaks it by up to
    // 0.03 here. The bound leaves room for rounding to floats at each of three hand-overs.
    const double coefficient = 2.0 * std::cos(2.0 * std::numbers::pi * kHz / 48000.0);
    double worst = 0.0;
    for (auto n = static_cast<std::size_t>(begin) + 2; n < static_cast<std::size_t>(end); ++n)
        worst = std::max(worst, std::abs(heard[n] - coefficient * heard[n - 1] + heard[n - 2]));
    EXPECT_LT(worst, 1e-5);
}

TEST_F(LiveSound, TwoChannelsAndAnotherRateAreGivenWhenAskedFor) {
    ASSERT_TRUE(server_.start());
    std::vector<float> right_only;
    for (const float x : testing::render(sine(440.0, 44100.0, 6.0)))
        right_only.insert(right_only.end(), {0.0F, x});
    ASSERT_TRUE(testing::write_sound(wav_, right_only, 44100, 2));
    const auto source = capture::open_live({"organloft", SampleRate{44100.0}, 2});
    ASSERT_TRUE(await(*source, SourceState::running, seconds{10})) << source->status().message;
    const testing::Process player = server_.play(wav_);
    CaptureBlock block;
    const auto end = Clock::now() + seconds{5};
    do {
        ASSERT_TRUE(source->read(block, Seconds{2.0}));
    } while (block.channels == 1 && Clock::now() < end);
    ASSERT_EQ(block.channels, 2U);
    ASSERT_TRUE(source->read(block, Seconds{2.0}));
    ASSERT_EQ(block.channels, 2U);
    for (std::size_t i = 0; i < block.frames; ++i)
        EXPECT_NEAR(block.samples[2 * i], 0.0F, 1e-4F);
    EXPECT_GT(std::abs(*std::max_element(block.samples.begin(), block.samples.end())), 0.1F);
    EXPECT_EQ(block.rate, SampleRate{44100.0});
    EXPECT_EQ(source->status().name, "organloft");
    EXPECT_EQ(source->status().message, "");
}

TEST_F(LiveSound, ARefusedRateIsReplacedAndSaid) {
    ASSERT_TRUE(server_.start());
    const auto source = capture::open_live({"", SampleRate{5.0e6}, 1});
    ASSERT_TRUE(await(*source, SourceState::running, seconds{10})) << source->status().message;
    EXPECT_THAT(source->status().message, HasSubstr("refuses 5000000 Hz; it runs at 48000 Hz"));
}

TEST_F(LiveSound, TheServerKilledAndRestartedIsSaidAndRecovered) {
    ASSERT_TRUE(server_.start());
    const auto source = capture::open_live();
    ASSERT_TRUE(await(*source, SourceState::running, seconds{10})) << source->status().message;
    std::uint32_t stream = 0;
    for (int round = 1; round <= 2; ++round) {
        server_.kill();
        ASSERT_TRUE(await(*source, SourceState::lost, seconds{5}));
        EXPECT_EQ(source->status().message,
                  "The microphone went away. Plug it in again; work goes on by itself.");
        ASSERT_TRUE(server_.start());
        const auto block = later_block(*source, stream, seconds{15});
        ASSERT_TRUE(block) << source->status().message;
        EXPECT_EQ(block->stream, stream + 1);
        EXPECT_EQ(block->first, FrameIndex{0}) << "frames count from 0 again";
        stream = block->stream;
        ASSERT_TRUE(await(*source, SourceState::running, seconds{5}));
        EXPECT_EQ(source->status().message, "");
        EXPECT_EQ(source->status().reopened, static_cast<std::uint64_t>(round));
    }
}

TEST_F(LiveSound, AFrozenServerIsSaidAndRecovered) {
    ASSERT_TRUE(server_.start());
    const auto source = capture::open_live();
    ASSERT_TRUE(await(*source, SourceState::running, seconds{10})) << source->status().message;
    server_.freeze();
    ASSERT_TRUE(await(*source, SourceState::lost, seconds{10}));
    EXPECT_THAT(source->status().message, HasSubstr("sends nothing"));
    server_.thaw();
    EXPECT_TRUE(later_block(*source, 0, seconds{20})) << source->status().message;
}

TEST_F(LiveSound, AFrozenServerDoesNotHoldUpTheEnd) {
    ASSERT_TRUE(server_.start());
    auto source = capture::open_live();
    ASSERT_TRUE(await(*source, SourceState::running, seconds{10})) << source->status().message;
    server_.freeze();
    ASSERT_TRUE(await(*source, SourceState::lost, seconds{10}));
    const auto before = Clock::now();
    source.reset();
    // Closing hangs up to 30 s in the sound system; the source must not wait for that.
    EXPECT_LT(Clock::now() - before, seconds{5});
    server_.thaw();
}

TEST_F(LiveSound, WithoutAServerAtTheStartItSaysSoAndBeginsWhenOneComes) {
    const auto source = capture::open_live();
    ASSERT_TRUE(await(*source, SourceState::failed, seconds{10}));
    EXPECT_THAT(source->status().message, HasSubstr("Plug in a microphone"));
    ASSERT_TRUE(server_.start());
    EXPECT_TRUE(await(*source, SourceState::running, seconds{15})) << source->status().message;
    EXPECT_EQ(source->status().message, "");
}

// PortAudio 19.6 by itself aborts on all of these but the third.
TEST_F(LiveSound, AConfigurationWithoutDevicesIsAnErrorNotACrash) {
    ASSERT_TRUE(server_.start());
    for (const char* text : {"", "ctl.!default { type pulse }\n", "}}}", "pcm 3\n",
                             "pcm.only { type pulse hint { show on } }\n"}) {
        server_.configure_alsa(text);
        const auto source = capture::open_live();
        ASSERT_TRUE(await(*source, SourceState::failed, seconds{10})) << text;
        EXPECT_NE(source->status().message, "");
        EXPECT_FALSE(capture::list_inputs()) << text;
    }
}

TEST_F(LiveSound, InputsAreListedAndFoundByNameOrNumber) {
    ASSERT_TRUE(server_.start());
    const auto inputs = capture::list_inputs();
    ASSERT_TRUE(inputs) << inputs.error().message;
    const auto is = [](const char* name) {
        return [name](const capture::Input& input) { return input.name == name; };
    };
    const auto loft = std::find_if(inputs->begin(), inputs->end(), is("organloft"));
    ASSERT_NE(loft, inputs->end());
    EXPECT_FALSE(loft->is_default);
    EXPECT_GE(loft->channels, 1);
    EXPECT_EQ(std::count_if(inputs->begin(), inputs->end(),
                            [](const capture::Input& input) { return input.is_default; }),
              1);
    for (const std::string& wanted : {std::string("ORGAN"), std::to_string(loft->index)}) {
        const auto source = capture::open_live({wanted, std::nullopt, 1});
        ASSERT_TRUE(await(*source, SourceState::running, seconds{10})) << source->status().message;
        EXPECT_EQ(source->status().name, "organloft") << wanted;
    }
    const auto wrong = capture::open_live({"gallery", std::nullopt, 1});
    ASSERT_TRUE(await(*wrong, SourceState::failed, seconds{10}));
    EXPECT_THAT(wrong->status().message, HasSubstr("no sound input \"gallery\""));
    EXPECT_THAT(wrong->status().message, HasSubstr("organloft"));
}

}  // namespace live_sound_test
}  // namespace rankwright

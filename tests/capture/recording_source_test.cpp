// Files are written here with libsndfile itself, a general-purpose library, and read by the
// product.
#include "capture/recording_source.h"

#include <array>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sndfile.h>

namespace rankwright::capture {
namespace recording_source_test {

namespace fs = std::filesystem;
using ::testing::HasSubstr;
using Clock = std::chrono::steady_clock;

constexpr Seconds kPatience{5.0};

class Recordings : public ::testing::Test {
  protected:
    Recordings() {
        std::string pattern = (fs::temp_directory_path() / "rankwright-XXXXXX").string();
        folder_ = mkdtemp(pattern.data());
    }
    ~Recordings() override { fs::remove_all(folder_); }

    fs::path write(const char* name, int format, int rate, int channels,
                   const std::vector<float>& interleaved) const {
        const fs::path path = folder_ / name;
        SF_INFO info{};
        info.samplerate = rate;
        info.channels = channels;
        info.format = format;
        SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
        EXPECT_NE(file, nullptr) << sf_strerror(nullptr);
        const auto frames = static_cast<sf_count_t>(interleaved.size()) / channels;
        EXPECT_EQ(sf_writef_float(file, interleaved.data(), frames), frames);
        sf_close(file);
        return path;
    }
    fs::path write_text(const char* name, const std::string& text) const {
        std::ofstream(folder_ / name) << text;
        return folder_ / name;
    }
    // The first `keep` bytes of a file, as a copy that was interrupted.
    fs::path cut(const fs::path& whole, std::uintmax_t keep) const {
        const fs::path part = folder_ / ("cut-" + whole.filename().string());
        fs::copy_file(whole, part);
        fs::resize_file(part, keep);
        return part;
    }
    static std::string error(const Result<Recording>& result) {
        return result ? "(no error)" : result.error().message;
    }
    fs::path folder_;
};

// Channel c, from 0, is a tone of amplitude 0.1 (c + 1), lower for later channels.
std::vector<float> tones(std::size_t frames, int channels) {
    std::vector<float> out;
    for (std::size_t n = 0; n < frames; ++n)
        for (int c = 0; c < channels; ++c)
            out.push_back(static_cast<float>(0.1 * (c + 1) *
                                             std::sin(0.05 * static_cast<double>(n) / (c + 1))));
    return out;
}

std::vector<float> play(Source& source, std::uint32_t channels) {
    std::vector<float> all;
    CaptureBlock block;
    while (source.read(block, kPatience)) {
        EXPECT_EQ(block.channels, channels);
        EXPECT_EQ(block.first.value * channels, static_cast<std::int64_t>(all.size()));
        all.insert(all.end(), block.samples.begin(),
                   block.samples.begin() + block.frames * channels);
    }
    EXPECT_EQ(source.status().state, SourceState::ended);
    return all;
}

TEST_F(Recordings, EveryRateAndFormatComesBackAsWritten) {
    struct Format {
        int code;
        double step;  // of the quantisation, full scale being 1
    };
    const std::array formats{Format{SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 1.0 / 128},
                             Format{SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1.0 / 32768},
                             Format{SF_FORMAT_WAV | SF_FORMAT_PCM_24, 1.0 / 8388608},
                             Format{SF_FORMAT_WAV | SF_FORMAT_PCM_32, 1.0 / 8388608},
                             Format{SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0.0},
                             Format{SF_FORMAT_WAV | SF_FORMAT_DOUBLE, 0.0},
                             Format{SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 1.0 / 32768},
                             Format{SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 1.0 / 8388608}};
    const auto sound = tones(5000, 2);
    for (const int rate : {8000, 11025, 22050, 44100, 48000, 88200, 96000, 176400, 192000})
        for (const Format& format : formats) {
            const auto path = write("sound", format.code, rate, 2, sound);
            const auto recording = read_recording(path);
            ASSERT_TRUE(recording) << error(recording);
            EXPECT_EQ(recording->rate, SampleRate{static_cast<double>(rate)});
            EXPECT_EQ(recording->channels, 2);
            EXPECT_EQ(recording->note, "");
            ASSERT_EQ(recording->samples.size(), sound.size());
            for (std::size_t i = 0; i < sound.size(); ++i)
                ASSERT_NEAR(recording->samples[i], sound[i], format.step) << i;
        }
}

TEST_F(Recordings, ChannelsAreChosenFromOne) {
    const auto sound = tones(3000, 5);
    const auto path = write("five.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 5, sound);
    const auto whole = read_recording(path);
    ASSERT_TRUE(whole) << error(whole);
    for (int number = 1; number <= 5; ++number) {
        const auto one = read_recording(path, {number, {}, {}});
        ASSERT_TRUE(one) << error(one);
        EXPECT_EQ(one->channels, 1);
        ASSERT_EQ(one->samples.size(), 3000U);
        for (std::size_t n = 0; n < 3000; ++n)
            ASSERT_EQ(one->samples[n], sound[n * 5 + static_cast<std::size_t>(number) - 1]);
        EXPECT_EQ(one->samples, whole->channel(number));
        const auto source = open_recording(path, {false, number});
        ASSERT_TRUE(source);
        EXPECT_EQ(play(**source, 1), one->samples);
    }
    for (const int number : {0, 6, -1}) {
        EXPECT_THAT(error(read_recording(path, {number, {}, {}})),
                    HasSubstr("--channel from 1 to 5"));
        EXPECT_FALSE(open_recording(path, {false, number}));
    }
    const auto mono = write("one.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 1, tones(99, 1));
    EXPECT_THAT(error(read_recording(mono, {2, {}, {}})), HasSubstr("only one channel"));
}

TEST_F(Recordings, OfManyChannelsTheTwoLoudestArePlayed) {
    auto sound = tones(20000, 4);  // the fourth is the loudest …
    for (std::size_t n = 0; n < 20000; ++n)
        sound[n * 4] = 0.9F;  // … the first a mere offset
    const auto path = write("four.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 4, sound);
    const auto source = open_recording(path, {false, {}});
    ASSERT_TRUE(source);
    const auto heard = play(**source, 2);
    ASSERT_EQ(heard.size(), 40000U);
    for (std::size_t n = 0; n < 20000; ++n) {
        ASSERT_EQ(heard[2 * n], sound[4 * n + 2]);
        ASSERT_EQ(heard[2 * n + 1], sound[4 * n + 3]);
    }
}

TEST_F(Recordings, ASpanIsCutToTheFrame) {
    const auto sound = tones(48000, 1);
    for (const int format : {SF_FORMAT_WAV | SF_FORMAT_FLOAT, SF_FORMAT_FLAC | SF_FORMAT_PCM_24}) {
        const auto path = write("span", format, 48000, 1, sound);
        const auto whole = read_recording(path);
        ASSERT_TRUE(whole);
        const auto part = read_recording(path, {{}, Seconds{0.25}, Seconds{0.75}});
        ASSERT_TRUE(part) << error(part);
        EXPECT_EQ(part->first, FrameIndex{12000});
        ASSERT_EQ(part->samples.size(), 24000U);
        for (std::size_t n = 0; n < 24000; ++n)
            ASSERT_EQ(part->samples[n], whole->samples[12000 + n]);
        const auto rest = read_recording(path, {{}, Seconds{0.9}, {}});
        ASSERT_TRUE(rest);
        EXPECT_EQ(rest->samples.size(), 4800U);
        // "1.00 s" may be printed for a little less.
        const auto rounded = read_recording(path, {{}, {}, Seconds{1.004}});
        ASSERT_TRUE(rounded) << error(rounded);
        EXPECT_EQ(rounded->samples.size(), 48000U);
    }
}

TEST_F(Recordings, ASpanOutsideTheFileIsRefusedWithItsLength) {
    const auto path = write("s.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, tones(48000, 1));
    const auto of = [&](double from, double to) {
        return error(read_recording(path, {{}, Seconds{from}, Seconds{to}}));
    };
    EXPECT_THAT(of(1.5, 2.0), HasSubstr("--from lies beyond its end. It lasts 1.00 s."));
    EXPECT_THAT(of(0.5, 2.0), HasSubstr("--to lies beyond its end. It lasts 1.00 s."));
    EXPECT_THAT(of(0.5, 0.5), HasSubstr("--to must be later than --from"));
    EXPECT_THAT(of(0.5, 0.2), HasSubstr("--to must be later than --from"));
    EXPECT_THAT(of(-0.1, 0.5), HasSubstr("--from must be 0 or more"));
    EXPECT_THAT(of(std::nan(""), 0.5), HasSubstr("--from must be 0 or more"));
    EXPECT_THAT(of(0.1, std::nan("")), HasSubstr("--to must be later"));
    EXPECT_THAT(of(0.1, 0.1000001), HasSubstr("no sample lies between"));
}

TEST_F(Recordings, WhatCannotBeReadSaysWhatToDo) {
    const auto good = write("good.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, tones(999, 1));
    const auto flac =
        write("good.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 48000, 1, tones(999, 1));
    struct Case {
        fs::path path;
        ErrorKind kind;
        const char* says;
    };
    const std::array cases{
        Case{folder_ / "absent.wav", ErrorKind::not_found, "Check its name"},
        Case{folder_, ErrorKind::bad_input, "is a folder"},
        Case{write_text("empty.wav", ""), ErrorKind::bad_input, "is empty"},
        Case{write_text("song.wav", "la la la la la la"), ErrorKind::bad_input, "WAV or FLAC"},
        Case{cut(good, 30), ErrorKind::bad_input, "WAV or FLAC"},
        Case{cut(flac, 30), ErrorKind::bad_input, "WAV or FLAC"},
        Case{write("none.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, {}),
             ErrorKind::bad_input, "holds no sound"},
        Case{write("slow.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 4000, 1, tones(99, 1)),
             ErrorKind::bad_input, "8 to 192 kHz"},
        Case{write("fast.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 384000, 1, tones(99, 1)),
             ErrorKind::bad_input, "8 to 192 kHz"}};
    for (const Case& c : cases) {
        const auto recording = read_recording(c.path);
        ASSERT_FALSE(recording) << c.path;
        EXPECT_EQ(recording.error().kind, c.kind) << c.path;
        EXPECT_THAT(recording.error().message, HasSubstr(c.says));
        const auto source = open_recording(c.path);
        ASSERT_FALSE(source) << c.path;
        EXPECT_EQ(source.error().message, recording.error().message);
    }
}

TEST_F(Recordings, ACutFileGivesWhatIsThereAndSaysSo) {
    const auto sound = tones(48000, 1);
    const auto wav = write("a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, sound);
    const auto half = read_recording(cut(wav, 44 + 48000));  // half of two bytes a frame
    ASSERT_TRUE(half) << error(half);
    EXPECT_NEAR(static_cast<double>(half->samples.size()), 24000.0, 40.0);
    EXPECT_THAT(half->note, HasSubstr("cut short: it holds 0.50 s of the 1.00 s"));

    const auto flac = write("a.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 48000, 1, sound);
    const auto path = cut(flac, fs::file_size(flac) / 2);
    const auto part = read_recording(path);
    ASSERT_TRUE(part) << error(part);
    EXPECT_GT(part->samples.size(), 4000U);
    EXPECT_LT(part->samples.size(), 44000U);
    EXPECT_THAT(part->note, HasSubstr("is cut short"));
    const auto source = open_recording(path, {false, {}});
    ASSERT_TRUE(source);
    EXPECT_EQ(play(**source, 1), part->samples);
    EXPECT_THAT((*source)->status().message, HasSubstr("is cut short"));
    EXPECT_FALSE(read_recording(path, {{}, Seconds{0.98}, {}})) << "nothing is left there";
}

TEST_F(Recordings, SamplesThatAreNoNumbersBecomeSilence) {
    auto sound = tones(2000, 1);
    sound[100] = std::numeric_limits<float>::quiet_NaN();
    sound[200] = std::numeric_limits<float>::infinity();
    sound[300] = -std::numeric_limits<float>::infinity();
    sound[400] = 31.6F;  // 30 dB over full scale is a number
    const auto path = write("nan.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 1, sound);
    const auto recording = read_recording(path);
    ASSERT_TRUE(recording) << error(recording);
    for (const std::size_t n : {100U, 200U, 300U})
        EXPECT_EQ(recording->samples[n], 0.0F);
    EXPECT_EQ(recording->samples[400], 31.6F);
    EXPECT_THAT(recording->note, HasSubstr("3 samples that are no numbers"));
}

TEST_F(Recordings, PacedAndFastPlayTheSameSamplesAndPacedIsNotEarly) {
    const auto sound = tones(30000, 2);
    const auto path = write("p.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 96000, 2, sound);
    const auto fast = open_recording(path, {false, {}});
    const auto paced = open_recording(path, {true, {}});
    ASSERT_TRUE(fast && paced);
    EXPECT_EQ((*paced)->status().name, "p.wav");
    EXPECT_EQ(play(**fast, 2), sound);
    const auto before = Clock::now();
    EXPECT_EQ(play(**paced, 2), sound);
    EXPECT_GE(Clock::now() - before, std::chrono::milliseconds{312}) << "30000 frames at 96 kHz";
}

TEST_F(Recordings, PacedReadingKeepsToThePatience) {
    const auto path = write("p.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 8000, 1, tones(4000, 1));
    const auto source = open_recording(path, {true, {}});
    ASSERT_TRUE(source);
    CaptureBlock block;
    EXPECT_FALSE((*source)->read(block, Seconds{0.001})) << "a block of 8 kHz takes 64 ms";
    EXPECT_NE((*source)->status().state, SourceState::ended);
    EXPECT_TRUE((*source)->read(block, kPatience));
    EXPECT_EQ(block.first, FrameIndex{0});
}

// Three hours of silence in a file with a hole: neither opening nor playing may load it whole.
TEST_F(Recordings, AVeryLongFilePlaysAtOnceAndIsNotReadWhole) {
    const auto path = write("long.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, tones(512, 1));
    constexpr std::uint32_t kDataBytes = 3U * 3600U * 48000U * 2U;
    fs::resize_file(path, 44 + std::uintmax_t{kDataBytes});
    std::fstream patch(path, std::ios::in | std::ios::out | std::ios::binary);
    const auto put = [&patch](std::streamoff at, std::uint32_t value) {
        patch.seekp(at);
        for (int byte = 0; byte < 4; ++byte)
            patch.put(static_cast<char>(value >> (8 * byte) & 0xFFU));
    };
    put(4, 36 + kDataBytes);  // the sizes in the RIFF and data chunks' heads
    put(40, kDataBytes);
    patch.close();

    const auto source = open_recording(path, {false, {}});
    ASSERT_TRUE(source);
    CaptureBlock block;
    ASSERT_TRUE((*source)->read(block, kPatience));
    EXPECT_EQ(block.frames, kBlockFrames);
    EXPECT_THAT(error(read_recording(path)), HasSubstr("Name a span"));
    const auto span = read_recording(path, {{}, Seconds{10799.0}, {}});
    ASSERT_TRUE(span) << error(span);
    EXPECT_EQ(span->samples.size(), 48000U);
}

}  // namespace recording_source_test
}  // namespace rankwright::capture

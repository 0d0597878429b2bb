#include "capture/sound_file.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string_view>
#include <system_error>

namespace rankwright::capture {

namespace {

constexpr int kLowestRate = 8000;
constexpr int kHighestRate = 192000;
// A WAV header written before the length was known carries a size near these.
constexpr std::uint64_t kUnknownSize = 0x7FFFF000;

// libsndfile shortens a cut WAV silently; only its log keeps what the header announced:
// "data : 288000 (should be 99956)". Returns announced over real size, 1 when they agree.
double announced_ratio(SNDFILE* file) {
    std::array<char, 8192> log{};
    sf_command(file, SFC_GET_LOG_INFO, log.data(), static_cast<int>(log.size()) - 1);
    const char* data = std::strstr(log.data(), "\ndata : ");
    if (data == nullptr) return 1.0;
    char* rest = nullptr;
    const std::uint64_t announced = std::strtoull(data + std::strlen("\ndata : "), &rest, 10);
    constexpr std::string_view kShouldBe = " (should be ";
    if (std::string_view(rest).substr(0, kShouldBe.size()) != kShouldBe) return 1.0;
    const std::uint64_t real = std::strtoull(rest + kShouldBe.size(), nullptr, 10);
    if (real == 0 || announced <= real || announced >= kUnknownSize) return 1.0;
    return static_cast<double>(announced) / static_cast<double>(real);
}

}  // namespace

std::string seconds_text(double seconds) {
    std::array<char, 32> text{};
    std::snprintf(text.data(), text.size(), "%.2f s", seconds);
    return text.data();
}

Result<SoundFile> SoundFile::open(const std::filesystem::path& path) {
    const std::string name = path.string();
    std::error_code code;
    if (!std::filesystem::exists(path, code))
        return fail(ErrorKind::not_found, "There is no file " + name + ". Check its name.");
    if (std::filesystem::is_directory(path, code))
        return fail(ErrorKind::bad_input, name + " is a folder. Name a sound file in it.");
    if (std::filesystem::is_regular_file(path, code) && std::filesystem::file_size(path, code) == 0)
        return fail(ErrorKind::bad_input, name + " is empty. Record or copy it again.");

    SoundFile sound;
    sound.name_ = path.filename().string();
    sound.file_.reset(sf_open(path.c_str(), SFM_READ, &sound.info_));
    if (!sound.file_) {
        return fail(ErrorKind::bad_input, name + " can't be read as sound (" +
                                              sf_strerror(nullptr) + "). Give a WAV or FLAC file.");
    }
    if (sound.info_.samplerate < kLowestRate || sound.info_.samplerate > kHighestRate) {
        return fail(ErrorKind::bad_input, name + " was recorded at " +
                                              std::to_string(sound.info_.samplerate) +
                                              " Hz. Record at 8 to 192 kHz, best at 48.");
    }
    if (sound.info_.channels < 1 || sound.info_.frames <= 0)
        return fail(ErrorKind::bad_input, name + " holds no sound. Record or copy it again.");
    if (const auto frames = sound.frames()) {
        sound.promised_ =
            std::llround(static_cast<double>(*frames) * announced_ratio(sound.file_.get()));
    }
    return sound;
}

std::optional<std::int64_t> SoundFile::frames() const {
    if (info_.frames >= SF_COUNT_MAX) return std::nullopt;
    return info_.frames;
}

std::size_t SoundFile::read(std::span<float> interleaved) {
    const auto channels = static_cast<std::size_t>(info_.channels);
    const sf_count_t wanted = static_cast<sf_count_t>(interleaved.size() / channels);
    const sf_count_t got = sf_readf_float(file_.get(), interleaved.data(), wanted);
    if (got < wanted) info_.frames = position_ + std::max<sf_count_t>(got, 0);  // really the end
    if (got <= 0) return 0;
    position_ += got;
    for (float& sample : interleaved.first(static_cast<std::size_t>(got) * channels)) {
        if (std::isfinite(sample)) continue;
        sample = 0.0F;
        ++not_numbers_;
    }
    return static_cast<std::size_t>(got);
}

bool SoundFile::seek(std::int64_t frame) {
    if (sf_seek(file_.get(), frame, SEEK_SET) != frame) return false;
    position_ = frame;
    not_numbers_ = 0;
    return true;
}

std::string SoundFile::note() const {
    std::string text;
    if (promised_ > info_.frames) {
        text = name_ + " is cut short: it holds " +
               seconds_text(static_cast<double>(info_.frames) / info_.samplerate) + " of the " +
               seconds_text(static_cast<double>(promised_) / info_.samplerate) +
               " it announces. Copy it again if the rest is needed.";
    }
    if (not_numbers_ > 0) {
        text += (text.empty() ? "" : " ") + name_ + " holds " + std::to_string(not_numbers_) +
                " samples that are no numbers; they were taken as silence.";
    }
    return text;
}

Result<int> SoundFile::check_channel(int number) const {
    if (number >= 1 && number <= info_.channels) return number;
    if (info_.channels == 1)
        return fail(ErrorKind::bad_input, name_ + " has only one channel. Leave --channel away.");
    return fail(ErrorKind::bad_input, name_ + " has " + std::to_string(info_.channels) +
                                          " channels. Give --channel from 1 to " +
                                          std::to_string(info_.channels) + ".");
}

}  // namespace rankwright::capture

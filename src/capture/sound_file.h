// One sound file, opened and checked. For recording_source.cpp.
#pragma once

#include "core/result.h"
#include "core/units.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include <sndfile.h>

namespace rankwright::capture {

class SoundFile {
  public:
    /// Fails when the file is missing, empty, not sound or outside 8–192 kHz.
    static Result<SoundFile> open(const std::filesystem::path& path);

    SampleRate rate() const { return SampleRate{static_cast<double>(info_.samplerate)}; }
    int channels() const { return info_.channels; }
    /// Frames that the file says it holds; empty when a streamed file doesn't say.
    std::optional<std::int64_t> frames() const;
    /// The next interleaved frames; returns how many, 0 at the end. Samples that are no numbers
    /// become silence and are counted. `interleaved.size()` is a multiple of the channels.
    std::size_t read(std::span<float> interleaved);
    bool seek(std::int64_t frame);
    /// What the user should know of the file as far as it was read; empty when all is well.
    std::string note() const;
    /// Fails unless `number`, from 1, is a channel of this file.
    Result<int> check_channel(int number) const;
    const std::string& name() const { return name_; }

  private:
    struct Close {
        void operator()(SNDFILE* file) const { sf_close(file); }
    };
    SoundFile() = default;

    std::unique_ptr<SNDFILE, Close> file_;
    SF_INFO info_{};
    std::string name_;
    std::int64_t position_ = 0;
    std::int64_t promised_ = 0;  ///< frames that the header announced; 0 = as many as there are
    std::uint64_t not_numbers_ = 0;
};

/// "2.50 s", as in the messages.
std::string seconds_text(double seconds);

}  // namespace rankwright::capture

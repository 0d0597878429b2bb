// Sound from a file: WAV or FLAC, 8 to 192 kHz, any number of channels.
#pragma once

#include "capture/source.h"
#include "core/result.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::capture {

/// A recording, or a span of it, in memory.
struct Recording {
    SampleRate rate{48000.0};
    int channels = 1;
    FrameIndex first;            ///< where the span begins in the file
    std::vector<float> samples;  ///< interleaved, all finite; full scale is 1
    /// What the user should know although it could be read: the file is cut short, or holds
    /// samples that are no numbers (taken as silence). Empty when all is well.
    std::string note;

    std::size_t frames() const { return samples.size() / static_cast<std::size_t>(channels); }
    /// The samples of one channel, counted from 1. Requires 1 <= number <= channels.
    std::vector<float> channel(int number) const;
};

struct RecordingSpan {
    std::optional<int> channel;   ///< from 1; empty: all channels
    std::optional<Seconds> from;  ///< empty: the beginning
    std::optional<Seconds> to;    ///< empty: the end
};

/// Reads a recording or a span of it. Fails, saying what to do, when the file is missing, empty,
/// not sound, outside 8–192 kHz, without such a channel or span, or too long for the memory.
Result<Recording> read_recording(const std::filesystem::path& path, const RecordingSpan& span = {});

struct PlayOptions {
    /// As fast as it was recorded (by the clock), or as fast as it is read.
    bool paced = true;
    /// From 1. Empty: all of one or two channels, the two loudest of more.
    std::optional<int> channel;
};

/// Plays a recording of any length through the interface of the live input, without loading it
/// whole. Fails like read_recording. The state becomes `ended` when the last block was read.
Result<std::unique_ptr<Source>> open_recording(const std::filesystem::path& path,
                                               const PlayOptions& options = {});

}  // namespace rankwright::capture

#include "capture/recording_source.h"

#include "capture/sound_file.h"
#include "core/thread_role.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <mutex>
#include <thread>

namespace rankwright::capture {

namespace {

constexpr std::size_t kPieceFrames = 4096;
// 1 GB: an hour and a half of one channel at 48 kHz. A longer job wants a span or a Source.
constexpr std::size_t kMostSamples = std::size_t{1} << 28;
// The length as other programs print it may be rounded up; a `to` beyond the end by less is the
// end.
constexpr double kEndSlack = 0.01;

struct FrameSpan {
    std::int64_t first = 0;
    std::optional<std::int64_t> end;  // empty: a streamed file that doesn't say its length
};

Error span_error(const SoundFile& file, const std::string& what) {
    std::string message = file.name() + ": " + what;
    if (const auto frames = file.frames())
        message +=
            " It lasts " + seconds_text(static_cast<double>(*frames) / file.rate().value()) + ".";
    return {ErrorKind::bad_input, message, std::nullopt};
}

Result<FrameSpan> frame_span(const SoundFile& file, const RecordingSpan& span) {
    const double rate = file.rate().value();
    const auto length = file.frames();
    const double from = span.from.value_or(Seconds{0.0}).count();
    if (!(from >= 0.0)) return tl::unexpected(span_error(file, "--from must be 0 or more."));
    if (length && from * rate >= static_cast<double>(*length))
        return tl::unexpected(span_error(file, "--from lies beyond its end."));
    FrameSpan frames{std::llround(from * rate), length};
    if (!span.to) return frames;

    const double to = span.to->count();
    if (!(to > from)) return tl::unexpected(span_error(file, "--to must be later than --from."));
    if (length && to > static_cast<double>(*length) / rate + kEndSlack)
        return tl::unexpected(span_error(file, "--to lies beyond its end."));
    frames.end = std::llround(to * rate);
    if (length) frames.end = std::min(*frames.end, *length);
    if (*frames.end <= frames.first)
        return tl::unexpected(span_error(file, "no sample lies between --from and --to."));
    return frames;
}

// Appends the wanted channels (from 0) of `frames` interleaved frames.
void append(std::vector<float>& out, std::span<const float> interleaved, std::size_t channels,
            const std::vector<std::size_t>& wanted) {
    for (std::size_t i = 0; i + channels <= interleaved.size(); i += channels)
        for (const std::size_t channel : wanted)
            out.push_back(interleaved[i + channel]);
}

std::vector<std::size_t> all_channels(int channels) {
    std::vector<std::size_t> all(static_cast<std::size_t>(channels));
    for (std::size_t i = 0; i < all.size(); ++i)
        all[i] = i;
    return all;
}

// The two channels with the most sound (variance, so that an offset doesn't count) in the first ten
// minutes, in the file's order. The file is wound back.
std::vector<std::size_t> two_loudest(SoundFile& file) {
    if (!file.seek(0)) return {0, 1};  // a pipe can't be wound back
    const auto channels = static_cast<std::size_t>(file.channels());
    std::vector<double> sum(channels);
    std::vector<double> square(channels);
    std::vector<float> piece(kPieceFrames * channels);
    std::size_t heard = 0;
    while (static_cast<double>(heard) < 600.0 * file.rate().value()) {
        const std::size_t frames = file.read(piece);
        if (frames == 0) break;
        heard += frames;
        for (std::size_t i = 0; i < frames * channels; ++i) {
            sum[i % channels] += piece[i];
            square[i % channels] += static_cast<double>(piece[i]) * piece[i];
        }
    }
    file.seek(0);
    const auto variance = [&](std::size_t c) {
        return square[c] - sum[c] * sum[c] / static_cast<double>(std::max<std::size_t>(heard, 1));
    };
    auto order = all_channels(file.channels());
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return variance(a) > variance(b); });
    order.resize(2);
    std::sort(order.begin(), order.end());
    return order;
}

class RecordingSource final : public Source {
  public:
    RecordingSource(SoundFile file, std::vector<std::size_t> channels, bool paced)
        : file_(std::move(file)),
          channels_(std::move(channels)),
          paced_(paced),
          piece_(kBlockFrames * static_cast<std::size_t>(file_.channels())) {
        status_.name = file_.name();
    }

    bool read(CaptureBlock& block, Seconds patience) override {
        assert_thread(ThreadRole::listening);
        if (paced_ && !wait_until_heard(patience)) return false;
        const std::size_t frames = file_.read(piece_);
        const std::lock_guard lock(mutex_);
        if (frames == 0) {
            status_.state = SourceState::ended;
            status_.message = file_.note();
            return false;
        }
        status_.state = SourceState::running;
        block.first = next_;
        block.rate = file_.rate();
        block.stream = 0;
        block.frames = static_cast<std::uint32_t>(frames);
        block.channels = static_cast<std::uint32_t>(channels_.size());
        const auto width = static_cast<std::size_t>(file_.channels());
        std::size_t out = 0;
        for (std::size_t frame = 0; frame < frames; ++frame)
            for (const std::size_t channel : channels_)
                block.samples[out++] = piece_[frame * width + channel];
        next_ = next_ + static_cast<std::int64_t>(frames);
        return true;
    }

    SourceStatus status() const override {
        const std::lock_guard lock(mutex_);
        return status_;
    }

  private:
    using Clock = std::chrono::steady_clock;

    // Waits until a microphone would have delivered the next block; false when patience ends first.
    bool wait_until_heard(Seconds patience) {
        const auto now = Clock::now();
        if (!began_) began_ = now;
        const auto length = static_cast<std::int64_t>(kBlockFrames);
        const auto due = *began_ + std::chrono::duration_cast<Clock::duration>(
                                       duration(next_.value + length, file_.rate()));
        const auto limit = now + std::chrono::duration_cast<Clock::duration>(patience);
        std::this_thread::sleep_until(std::min(due, limit));
        return due <= limit;
    }

    SoundFile file_;
    std::vector<std::size_t> channels_;
    bool paced_;
    std::vector<float> piece_;
    FrameIndex next_;
    std::optional<Clock::time_point> began_;
    mutable std::mutex mutex_;
    SourceStatus status_;
};

}  // namespace

std::vector<float> Recording::channel(int number) const {
    std::vector<float> out;
    out.reserve(frames());
    append(out, samples, static_cast<std::size_t>(channels),
           {static_cast<std::size_t>(number - 1)});
    return out;
}

Result<Recording> read_recording(const std::filesystem::path& path, const RecordingSpan& span) {
    auto file = SoundFile::open(path);
    if (!file) return tl::unexpected(file.error());
    auto wanted = all_channels(file->channels());
    if (span.channel) {
        const auto channel = file->check_channel(*span.channel);
        if (!channel) return tl::unexpected(channel.error());
        wanted = {static_cast<std::size_t>(*channel - 1)};
    }
    const auto frames = frame_span(*file, span);
    if (!frames) return tl::unexpected(frames.error());
    const auto too_long =
        fail(ErrorKind::bad_input,
             file->name() + " is too long to be read at once. Name a span with --from and --to.");
    const std::size_t most = kMostSamples / wanted.size();
    if (frames->end && static_cast<std::size_t>(*frames->end - frames->first) > most)
        return too_long;
    if (frames->first > 0 && !file->seek(frames->first))
        return tl::unexpected(span_error(*file, "it can't be wound to --from."));

    Recording recording;
    recording.rate = file->rate();
    recording.channels = static_cast<int>(wanted.size());
    recording.first = {frames->first};
    if (frames->end)
        recording.samples.reserve(static_cast<std::size_t>(*frames->end - frames->first) *
                                  wanted.size());
    const auto width = static_cast<std::size_t>(file->channels());
    std::vector<float> piece(kPieceFrames * width);
    while (true) {
        const std::int64_t position = frames->first + static_cast<std::int64_t>(recording.frames());
        std::size_t now = kPieceFrames;
        if (frames->end)
            now = std::min(
                now, static_cast<std::size_t>(std::max<std::int64_t>(*frames->end - position, 0)));
        const std::size_t got = now > 0 ? file->read(std::span(piece).first(now * width)) : 0;
        if (got == 0) break;
        if (recording.frames() + got > most) return too_long;
        append(recording.samples, std::span(piece).first(got * width), width, wanted);
    }
    if (recording.samples.empty())
        return tl::unexpected(span_error(*file, "no sound could be read. Copy the file again."));
    recording.note = file->note();
    return recording;
}

Result<std::unique_ptr<Source>> open_recording(const std::filesystem::path& path,
                                               const PlayOptions& options) {
    auto file = SoundFile::open(path);
    if (!file) return tl::unexpected(file.error());
    std::vector<std::size_t> channels;
    if (options.channel) {
        const auto channel = file->check_channel(*options.channel);
        if (!channel) return tl::unexpected(channel.error());
        channels = {static_cast<std::size_t>(*channel - 1)};
    } else {
        channels = file->channels() <= 2 ? all_channels(file->channels()) : two_loudest(*file);
    }
    return std::make_unique<RecordingSource>(std::move(*file), std::move(channels), options.paced);
}

}  // namespace rankwright::capture

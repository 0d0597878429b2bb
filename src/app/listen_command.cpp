// `rankwright listen`: the pitch of one pipe, from a recording or live.
#include "app/commands.h"
#include "app/heard_options.h"
#include "app/json_output.h"
#include "app/number_checks.h"
#include "app/recorded_input.h"
#include "capture/recording_source.h"
#include "listening/among_others.h"
#include "listening/mains.h"
#include "listening/partial_power.h"
#include "listening/pipe_listener.h"
#include "organ/note.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

struct ListenOptions : HeardOptions {
    std::optional<double> near;
};

std::optional<Hertz> near_of(const ListenOptions& options) {
    return options.near ? std::optional{Hertz{*options.near}} : std::nullopt;
}

/// The nearest key at A 440 with its distance, only to make a number of hertz familiar.
std::string familiar_note(Hertz pitch) {
    const double midi = 69.0 + interval(Hertz{440.0}, pitch).value() / 100.0;
    const int nearest = static_cast<int>(std::lround(midi));
    char text[96];
    std::snprintf(text, sizeof text, "%s %+.1f cents at A 440", organ::note_name(nearest).c_str(),
                  100.0 * (midi - nearest));
    return text;
}

/// A pipe is recorded within some 30 dB of full scale, and hum far under that. Common practice, no
/// source.
bool is_faint(const listening::PitchReading& reading) {
    constexpr double kFaintest = 1e-3;
    return power(reading.partials) < kFaintest;
}

/// Hum is there from the first to the last frame, where whoever records a pipe for a while has its
/// beginning or its end as well; of a short piece nothing follows.
bool never_begins_nor_ends(const listening::PitchReading& reading,
                           const capture::Recording& recording) {
    constexpr Seconds kMargin{0.1};
    constexpr Seconds kWhile{3.0};
    const FrameIndex end = recording.first + static_cast<std::int64_t>(recording.frames());
    return duration(reading.from - recording.first, recording.rate) < kMargin &&
           duration(end - reading.to, recording.rate) < kMargin &&
           duration(end - recording.first, recording.rate) > kWhile;
}

void print_reading(const listening::PitchReading& reading, SampleRate rate) {
    std::printf("%.4f Hz ± %.4f (%.3f cents); %s\n", reading.pitch.value(), reading.sd.value(),
                reading.cents_sd().value(), familiar_note(reading.pitch).c_str());
    std::printf("heard from %.2f to %.2f s, %.0f dB over the noise",
                static_cast<double>(reading.from.value) / rate.value(),
                static_cast<double>(reading.to.value) / rate.value(), reading.snr.value());
    if (reading.clipped > 0.0)
        std::printf("; overloaded: %.1f %% of the samples at the limit, levels can't be trusted",
                    100.0 * reading.clipped);
    std::printf("\npartials, dB:");
    for (const listening::PartialLevel& partial : reading.partials)
        std::printf("  %d: %.0f", partial.number, partial.level.value());
    std::printf("\n");
}

/// The pipe on the channel that hears it best, and what else sounds there; frames of the file.
std::optional<listening::PipeHeard> hear(const capture::Recording& recording,
                                         const ListenOptions& options) {
    // A span that was asked for is measured whole; otherwise speech and end are left out.
    const listening::SoughtPipe sought{near_of(options), options.from || options.to};
    const auto all = each_channel(recording, [&](const std::vector<float>& samples) {
        return listening::hear_pipe(samples, recording.rate, sought);
    });
    const std::size_t best = best_of(all);
    if (!all[best]) return {};
    auto heard = listening::with_what_sounds_beside(
        about_the_mean(recording.channel(static_cast<int>(best) + 1)), recording.rate, sought,
        *all[best]);
    heard.reading.from = heard.reading.from + recording.first.value;
    heard.reading.to = heard.reading.to + recording.first.value;
    return heard;
}

void warn_of_other(Hertz other) {
    std::fprintf(stderr,
                 "rankwright: another pipe sounds with it, at %.2f Hz (%s): stop it, or if that is "
                 "the one in mind give its pitch with --near\n",
                 other.value(), familiar_note(other).c_str());
}

ExitCode listen_to_file(const ListenOptions& options) {
    const auto recording = options.recording();
    if (!recording) return report(recording.error());

    const auto heard = hear(*recording, options);
    std::optional<listening::PitchReading> best;
    if (heard) best = heard->reading;
    // Nothing in the tone itself parts hum from a pipe that stands just there.
    const bool perhaps_hum = best && !options.near && listening::on_mains(best->pitch);
    const bool only_hum = perhaps_hum && !options.from && !options.to &&
                          (is_faint(*best) || never_begins_nor_ends(*best, *recording));
    if (only_hum) best.reset();
    const auto other = best ? heard->other : std::nullopt;
    if (options.json) {
        Json line = reading_json(best, recording->rate);
        line["may_be_hum"] = perhaps_hum;
        line["other_hz"] = or_null(other);
        std::cout << line.dump() << "\n";
    }
    if (!best)
        return report({ErrorKind::nothing_heard,
                       only_hum ? "only mains hum is heard, or a pipe that stands just there; "
                                  "if it is a pipe give its pitch with --near"
                       : options.near
                           ? "no steady pipe is heard near that pitch; try another --near, "
                             "or --from and --to round the part where the pipe stands"
                           : "no steady pipe is heard; give its pitch with --near, or the "
                             "part where it stands with --from and --to",
                       Place{options.file}});
    if (perhaps_hum)
        std::cerr << "rankwright: this may be mains hum, which stands just there; with a pipe in "
                     "mind give its pitch with --near\n";
    if (other) warn_of_other(*other);
    if (!options.json) print_reading(*best, recording->rate);
    return kDone;
}

void print_live(const listening::Hearing& hearing, const ListenOptions& options) {
    const auto& reading = *hearing.reading;
    if (options.json) {
        Json line = reading_json(reading, hearing.rate);
        line["drift_cents_a_second"] = or_null(hearing.drift_cents_a_second);
        std::cout << line.dump() << std::endl;
        return;
    }
    std::printf("%9.2f s  %10.4f Hz ± %.4f (%.2f cents)  %s  %.1f s heard\n",
                static_cast<double>(hearing.now.value) / hearing.rate.value(),
                reading.pitch.value(), reading.sd.value(), reading.cents_sd().value(),
                familiar_note(reading.pitch).c_str(),
                duration(reading.to - reading.from, hearing.rate).count());
    std::fflush(stdout);
}

ExitCode listen_live(const ListenOptions& options) {
    using Printed = LiveReadings::Printed;
    std::unique_ptr<listening::PipeListener> listener;
    LiveReadings readings;
    readings.nothing = "no steady pipe was heard";
    readings.input = options.live();
    readings.input.begin = [&](SampleRate rate, int channels) {
        listener = std::make_unique<listening::PipeListener>(
            listening::PipeListener::Parameters{rate, channels});
        listener->expect(near_of(options));
    };
    readings.input.take = [&](const capture::CaptureBlock& block) {
        listener->process(block.first,
                          {block.samples.data(), std::size_t{block.frames} * block.channels});
    };
    readings.print = [&] {
        if (!listener->hearing().reading) return Printed::nothing;
        print_live(listener->hearing(), options);
        return Printed::reading;
    };
    return print_live_readings(readings);
}

}  // namespace

void add_listen_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<ListenOptions>();
    CLI::App* command = app.add_subcommand("listen", "Hear one pipe and say its pitch");
    options->add_to(*command, "a WAV or FLAC recording");
    command->add_option("--near", options->near, "its pitch within a semitone, in Hz")
        ->check(within(10.0, 20000.0));
    command->callback([options, &code] {
        code = options->file.empty() ? listen_live(*options) : listen_to_file(*options);
    });
}

}  // namespace rankwright::app

// `rankwright beats`: a reference and a pipe that sound together, from a recording or live.
#include "app/beats.h"
#include "app/commands.h"
#include "app/json_output.h"
#include "app/recorded_input.h"
#include "capture/recording_source.h"
#include "listening/measure.h"
#include "listening/pair.h"

#include <cmath>
#include <cstdio>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

/// The reference of a recording of its own, heard whole, on the channel that hears it best.
Result<KnownReference> reference_of_file(const std::string& file) {
    const auto recording = capture::read_recording(file, {});
    if (!recording) return tl::unexpected(recording.error());
    const auto best = best_channel(*recording, [&](const std::vector<float>& samples) {
        return listening::measure_pipe(samples, recording->rate);
    });
    if (!best)
        return fail(ErrorKind::nothing_heard,
                    file +
                        ": no steady pipe is heard in the reference's recording; cut it to the "
                        "part where the reference stands alone, or give --reference-hz");
    return KnownReference{best->pitch, best->sd};
}

std::optional<listening::BeatReading> measure(const capture::Recording& recording,
                                              const listening::PairRequest& request) {
    return best_channel(recording, [&](const std::vector<float>& samples) {
        return listening::measure_pair(samples, request);
    });
}

Json beats_json(const std::optional<listening::BeatReading>& reading) {
    Json out;
    for (const char* key :
         {"reference_hz", "pipe_hz", "beat_hz", "beat_sd", "cents", "under_hz", "drawing"})
        out[key] = nullptr;
    if (!reading) return out;
    out["reference_hz"] = reading->reference.value();
    out["pipe_hz"] = reading->pipe.value();
    out["beat_hz"] = reading->beat.value();
    out["beat_sd"] = reading->beat_sd.value();
    out["cents"] = reading->cents.value();
    out["under_hz"] = or_null(reading->under);
    return out;
}

void print_beats(const listening::BeatReading& reading) {
    const bool sharp = reading.beat > Hertz{0.0};
    if (reading.under)
        std::printf("under %.3f beats a second", reading.under->value());
    else
        std::printf("%s %.3f beats a second ± %.3f, %.3f cents", sharp ? "sharp" : "flat",
                    std::abs(reading.beat.value()), reading.beat_sd.value(),
                    std::abs(reading.cents.value()));
    std::printf("\nreference %.4f Hz, pipe %.4f Hz\n", reading.reference.value(),
                reading.pipe.value());
}

ExitCode hear_file(const BeatsOptions& options) {
    const auto known = options.reference_file.empty() ? known_by_number(options.reference_hz)
                                                      : reference_of_file(options.reference_file);
    const auto interval = parse_interval(options.interval);
    if (!interval) return report(interval.error());
    if (!known) {
        if (options.json && known.error().kind == ErrorKind::nothing_heard)
            std::cout << beats_json(std::nullopt).dump() << "\n";
        return report(known.error());
    }
    const auto recording = read_asked(options.file, options.channel, options.from, options.to);
    if (!recording) return report(recording.error());
    const auto reading = measure(*recording, {recording->rate, known->pitch, known->sd,
                                              interval->reference_partial, interval->pipe_partial});
    if (options.json) std::cout << beats_json(reading).dump() << "\n";
    if (!reading)
        return report({ErrorKind::nothing_heard,
                       "no pair is heard near that interval; check --interval and the reference, "
                       "or give the part where both sound with --from and --to",
                       Place{options.file}});
    if (!options.json) print_beats(*reading);
    return kDone;
}

}  // namespace

void add_beats_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<BeatsOptions>();
    CLI::App* command =
        app.add_subcommand("beats", "Hear a reference and a pipe together and say their beat");
    command->add_option("FILE", options->file, "a WAV or FLAC recording of both")->required();
    auto* reference = command->add_option_group("reference", "how the reference is known");
    reference->add_option("--reference-hz", options->reference_hz,
                          "its pitch in Hz, as exact as its digits");
    reference->add_option("--reference", options->reference_file, "a recording of it alone");
    reference->require_option(1);
    command
        ->add_option("--interval", options->interval,
                     "M:N: the reference's partial M meets the pipe's partial N")
        ->capture_default_str();
    auto* from = command->add_option("--from", options->from, "begin here, in seconds");
    auto* to = command->add_option("--to", options->to, "end here, in seconds");
    from->check(CLI::NonNegativeNumber);
    to->check(CLI::NonNegativeNumber);
    command->add_option("--channel", options->channel, "this channel alone, from 1")
        ->check(CLI::PositiveNumber);
    command->add_flag("--json", options->json, "one JSON object");
    command->callback([options, &code] { code = hear_file(*options); });
}

}  // namespace rankwright::app

// `rankwright mixture`: all pipes of one key of a mixture, from a recording or live.
#include "app/commands.h"
#include "app/heard_options.h"
#include "app/held_key.h"
#include "app/json_output.h"
#include "app/mixture.h"
#include "app/number_checks.h"
#include "app/recorded_input.h"
#include "capture/recording_source.h"
#include "listening/held_span.h"
#include "listening/mixture.h"

#include <algorithm>
#include <cstdio>
#include <iostream>
#include <memory>
#include <numeric>

namespace rankwright::app {

namespace {

struct MixtureOptions : HeardOptions {
    double unison_hz = 0.0;
    std::string pipes;
    std::optional<double> reference_hz;
};

using listening::MixturePipeReading;
using listening::MixtureReading;
using listening::MixtureRequest;
using listening::Presence;

Json sounding_json(Presence presence) {
    switch (presence) {
        case Presence::sounding:
            return true;
        case Presence::silent:
            return false;
        case Presence::cannot_tell:
            break;
    }
    return nullptr;
}

Json pipe_json(const MixturePipeReading& pipe, const std::string& ratio) {
    Json out;
    out["ratio"] = ratio;
    out["sounding"] = sounding_json(pipe.presence);
    out["hz"] = or_null(pipe.hz);
    out["cents"] = or_null(pipe.cents);
    out["cents_sd"] = or_null(pipe.cents_sd);
    out["level_db"] = or_null(pipe.level);
    return out;
}

Json mixture_json(const std::optional<MixtureReading>& reading, const MixtureRequest& request) {
    const auto name = [&](std::size_t i) {
        return i < request.pipes.size() ? ratio_text(request.pipes[i]) : std::string("reference");
    };
    Json out;
    out["unison_hz"] = request.unison.value();
    out["pipes"] = Json::array();
    for (std::size_t i = 0; i < request.pipes.size(); ++i) {
        const MixturePipeReading pipe = reading ? reading->pipes[i] : MixturePipeReading{};
        Json one = pipe_json(pipe, name(i));
        one["unresolved_with"] = Json::array();
        for (const std::size_t other : pipe.unresolved_with)
            one["unresolved_with"].push_back(name(other));
        one["twin"] = pipe.twin ? Json(*pipe.twin) : Json(nullptr);
        one["stray_cents"] = or_null(pipe.stray);
        one["to_part_s"] = pipe.to_part ? Json(pipe.to_part->count()) : Json(nullptr);
        out["pipes"].push_back(std::move(one));
    }
    if (request.reference)
        out["reference"] =
            pipe_json(reading && reading->reference ? *reading->reference : MixturePipeReading{},
                      "reference");
    return out;
}

void print_pipe(const MixturePipeReading& pipe, const std::string& name,
                const MixtureRequest& request) {
    std::printf("%9s  ", name.c_str());
    if (pipe.presence == Presence::silent) std::printf("silent");
    if (pipe.presence == Presence::cannot_tell) std::printf("can't be told yet");
    if (pipe.stray)
        std::printf("; a tone stands %+.0f cents from it, perhaps this pipe", pipe.stray->value());
    if (pipe.cents)
        std::printf("%10.4f Hz  %+8.3f cents ± %.3f  %6.1f dB", pipe.hz->value(),
                    pipe.cents->value(), pipe.cents_sd->value(), pipe.level->value());
    if (pipe.twin) std::printf("; either of the two");
    for (std::size_t k = 0; k < pipe.unresolved_with.size(); ++k) {
        const std::size_t other = pipe.unresolved_with[k];
        std::printf("%s%s", k == 0 ? "; not yet told from " : ", ",
                    other < request.pipes.size() ? ratio_text(request.pipes[other]).c_str()
                                                 : "the reference");
    }
    if (pipe.to_part) std::printf(" (hear %.1f s)", pipe.to_part->count());
    std::printf("\n");
}

Result<MixtureRequest> request_of(const MixtureOptions& options) {
    const auto ratios = parse_ratios(options.pipes);
    if (!ratios) return tl::unexpected(ratios.error());
    MixtureRequest request;
    request.unison = Hertz{options.unison_hz};
    request.pipes = *ratios;
    if (options.reference_hz) request.reference = Hertz{*options.reference_hz};
    return request;
}

void print_reading(const MixtureReading& reading, const MixtureRequest& request) {
    for (std::size_t i = 0; i < reading.pipes.size(); ++i)
        print_pipe(reading.pipes[i], ratio_text(request.pipes[i]), request);
    if (reading.reference) print_pipe(*reading.reference, "reference", request);
}

/// What was asked for; otherwise without speech and end, as the loudest channel has them. Of more
/// than can be heard at once the middle.
listening::SteadySpan span_heard(const capture::Recording& recording,
                                 const MixtureOptions& options) {
    listening::SteadySpan span{0, recording.frames()};
    if (!options.from && !options.to)
        span = listening::held_span(loudest_channel(recording), recording.rate);
    const auto most =
        static_cast<std::size_t>(listening::kLongestMixtureSpan.count() * recording.rate.value());
    if (span.count <= most) return span;
    return {span.first + (span.count - most) / 2, most};
}

ExitCode hear_file(const MixtureOptions& options) {
    auto request = request_of(options);
    if (!request) return report(request.error());
    const auto recording = options.recording();
    if (!recording) return report(recording.error());
    request->rate = recording->rate;
    const listening::SteadySpan span = span_heard(*recording, options);
    const auto reading = best_channel(*recording, [&](const std::vector<float>& samples) {
        return listening::measure_mixture(
            std::span<const float>(about_the_mean(samples)).subspan(span.first, span.count),
            *request);
    });
    const double from_s = seconds_in_file(*recording, span.first),
                 to_s = seconds_in_file(*recording, span.first + span.count);
    const double clipped = clipped_in(*recording);
    warn_of_overload(clipped, "a pipe");
    if (options.json) {
        Json line = mixture_json(reading, *request);
        line["from_s"] = from_s;
        line["to_s"] = to_s;
        line["clipped"] = clipped;
        std::cout << line.dump() << "\n";
    }
    if (!options.json && reading) {
        print_reading(*reading, *request);
        std::printf("heard from %.2f to %.2f s\n", from_s, to_s);
    }
    if (reading && std::any_of(reading->pipes.begin(), reading->pipes.end(), [](const auto& pipe) {
            return pipe.presence == Presence::sounding;
        }))
        return kDone;
    const bool astray = reading && std::any_of(reading->pipes.begin(), reading->pipes.end(),
                                               [](const auto& pipe) { return pipe.stray; });
    if (astray)
        return report(
            {ErrorKind::nothing_heard,
             "no pipe of this key is heard within 25 cents of where it belongs, but tones "
             "stand beside: check --unison-hz",
             Place{options.file}});
    return report({ErrorKind::nothing_heard,
                   "no pipe of this key is surely heard; check --unison-hz and --pipes, or give "
                   "the part where the key is held, two seconds or more, with --from and --to",
                   Place{options.file}});
}

ExitCode hear_mixture_live(const MixtureOptions& options) {
    using Printed = LiveReadings::Printed;
    const auto request = request_of(options);
    if (!request) return report(request.error());
    std::unique_ptr<HeldKey> key;
    FrameIndex now;
    SampleRate rate{48000.0};
    LiveReadings readings;
    readings.nothing =
        "no pipe of this key was surely heard; hold the key for three seconds or more, and check "
        "--unison-hz and --pipes";
    readings.input = options.live();
    readings.input.begin = [&](SampleRate at, int) {
        rate = at;
        key = std::make_unique<HeldKey>(*request);
    };
    readings.input.take = [&](const capture::CaptureBlock& block) {
        key->hear(block);
        now = block.first;
    };
    readings.print = [&] {
        const auto reading = key->reading();
        if (!reading) return Printed::nothing;
        if (options.json) {
            std::cout << mixture_json(reading, *request).dump() << std::endl;
            return Printed::reading;
        }
        std::printf("%.2f s\n", duration(now - FrameIndex{}, rate).count());
        print_reading(*reading, *request);
        std::fflush(stdout);
        return Printed::reading;
    };
    return print_live_readings(readings);
}

}  // namespace

void add_mixture_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<MixtureOptions>();
    CLI::App* command = app.add_subcommand("mixture", "Hear all pipes of one key of a mixture");
    options->add_to(*command, "a WAV or FLAC recording of the key held");
    command->add_option("--unison-hz", options->unison_hz, "the pitch of the key's unison, in Hz")
        ->check(within(8.0, 10000.0))
        ->required();
    command
        ->add_option("--pipes", options->pipes,
                     "the pipes' pitches as ratios to the unison from 1/2 to 32, as 3/2,4,6,8")
        ->required();
    command
        ->add_option("--reference-hz", options->reference_hz,
                     "a reference pipe sounds beside them at this pitch, known to 0.1 cent")
        ->check(within(10.0, 20000.0));
    command->callback([options, &code] {
        code = options->file.empty() ? hear_mixture_live(*options) : hear_file(*options);
    });
}

}  // namespace rankwright::app

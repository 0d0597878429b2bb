// `rankwright mixture`: all pipes of one key of a mixture, from a recording or live.
#include "app/commands.h"
#include "app/heard_options.h"
#include "app/held_key.h"
#include "app/json_output.h"
#include "app/mixture.h"
#include "app/mixture_untold.h"
#include "app/number_checks.h"
#include "app/recorded_input.h"
#include "capture/recording_source.h"
#include "listening/converter.h"
#include "listening/held_span.h"
#include "listening/mixture/channels.h"
#include "listening/mixture/mixture.h"

#include <algorithm>
#include <array>
#include <cmath>
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

// Those of the same pitch, unless it is known which is which.
Json twin_rows(const MixturePipeReading& pipe, std::size_t index, const MixtureRequest& request) {
    Json rows = Json::array();
    for (std::size_t i = 0; pipe.twin && i < request.pipes.size(); ++i)
        if (i != index && request.pipes[i].value() == request.pipes[index].value())
            rows.push_back(i + 1);
    return rows;
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
        one["row"] = i + 1;
        one["unresolved_with"] = Json::array();
        one["unresolved_rows"] = Json::array();
        for (const std::size_t other : pipe.unresolved_with) {
            const bool reference = other == request.pipes.size();
            one["unresolved_with"].push_back(name(other));
            one["unresolved_rows"].push_back(reference ? Json(nullptr) : Json(other + 1));
        }
        one["twin_rows"] = twin_rows(pipe, i, request);
        one["stray_cents"] = or_null(pipe.stray);
        one["to_part_s"] = pipe.to_part ? Json(pipe.to_part->count()) : Json(nullptr);
        one["mute_one"] = pipe.mute_one;
        one["untold"] = pipe.untold ? Json(reason_word(*pipe.untold)) : Json(nullptr);
        out["pipes"].push_back(std::move(one));
    }
    if (request.reference)
        out["reference"] =
            pipe_json(reading && reading->reference ? *reading->reference : MixturePipeReading{},
                      "reference");
    return out;
}

void print_pipe(const MixturePipeReading& pipe, std::size_t index, const MixtureRequest& request,
                Seconds longest) {
    const bool reference = index == request.pipes.size();
    std::printf("%9s  ", reference ? "reference" : pipe_name(request, index).c_str());
    if (pipe.presence == Presence::silent) std::printf("silent");
    if (pipe.cents)
        std::printf("%10.4f Hz  %+8.3f cents ± %.3f  %6.1f dB", pipe.hz->value(),
                    pipe.cents->value(), pipe.cents_sd->value(), pipe.level->value());
    const std::string open = untold_words(pipe, request, longest);
    const bool alone = pipe.presence == Presence::cannot_tell;
    std::printf("%s%s", open.empty() || alone ? "" : "; ", open.c_str());
    if (pipe.twin) std::printf("; which of the pipes of this pitch it is can't be heard");
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

void print_reading(const MixtureReading& reading, const MixtureRequest& request, Seconds longest) {
    for (std::size_t i = 0; i < reading.pipes.size(); ++i)
        print_pipe(reading.pipes[i], i, request, longest);
    if (reading.reference) print_pipe(*reading.reference, reading.pipes.size(), request, longest);
}

/// Without speech and end, as the loudest channel has them, also where more was asked for: what
/// sounds no more is no part of a pipe's standing pitch. Of more than can be heard at once the
/// middle.
listening::SteadySpan span_heard(const capture::Recording& recording) {
    const listening::SteadySpan span =
        listening::held_span(loudest_channel(recording), recording.rate);
    const auto most =
        static_cast<std::size_t>(listening::kLongestMixtureSpan.count() * recording.rate.value());
    if (span.count <= most) return span;
    return {span.first + (span.count - most) / 2, most};
}

/// Why nothing can be heard of it however it sounds.
std::optional<Error> unheard(const MixtureOptions& options, const MixtureRequest& request,
                             double seconds) {
    const auto below = [](const auto& a, const auto& b) { return a.value() < b.value(); };
    const double lowest_hz =
        request.unison.value() *
        std::min_element(request.pipes.begin(), request.pipes.end(), below)->value();
    const double shortest = listening::shortest_mixture_span(Hertz{lowest_hz}).count();
    const double highest_hz = listening::kTrueShare * request.rate.value();
    std::array<char, 200> words{};
    if (seconds < shortest)
        std::snprintf(words.data(), words.size(),
                      "%.2f s are too short to tell the pipes of this key apart: give %.1f s or "
                      "more, better two seconds, with --from and --to",
                      seconds, std::ceil(10.0 * shortest) / 10.0);
    else if (lowest_hz > highest_hz)
        std::snprintf(words.data(), words.size(),
                      "all of --pipes would sound above %.0f Hz, where the recording ends: check "
                      "--unison-hz, or record at 48 kHz or more",
                      highest_hz);
    else
        return std::nullopt;
    return Error{ErrorKind::nothing_heard, words.data(), Place{options.file}};
}

ExitCode hear_file(const MixtureOptions& options) {
    auto request = request_of(options);
    if (!request) return report(request.error());
    const auto recording = options.recording();
    if (!recording) return report(recording.error());
    request->rate = recording->rate;
    const listening::SteadySpan span = span_heard(*recording);
    const auto reading = listening::join_channels(
        each_channel(
            *recording,
            [&](const std::vector<float>& samples) {
                return listening::measure_mixture(
                    std::span<const float>(about_the_mean(samples)).subspan(span.first, span.count),
                    *request);
            }),
        request->unison);
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
        print_reading(*reading, *request, listening::kLongestMixtureSpan);
        std::printf("heard from %.2f to %.2f s\n", from_s, to_s);
    }
    if (const auto why = unheard(options, *request, to_s - from_s)) return report(*why);
    if (reading && std::any_of(reading->pipes.begin(), reading->pipes.end(), [](const auto& pipe) {
            return pipe.presence == Presence::sounding;
        }))
        return kDone;
    const bool astray =
        reading && std::any_of(reading->pipes.begin(), reading->pipes.end(), [](const auto& pipe) {
            return pipe.untold == listening::Untold::stray;
        });
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
        print_reading(*reading, *request, HeldKey::kSpan);
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

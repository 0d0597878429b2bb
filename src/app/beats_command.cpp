// `rankwright beats`: a reference and a pipe that sound together, from a recording or live.
#include "app/beats.h"
#include "app/commands.h"
#include "app/heard_options.h"
#include "app/json_output.h"
#include "app/recorded_input.h"
#include "capture/recording_source.h"
#include "listening/measure.h"
#include "listening/pair/listener.h"
#include "listening/pair/pair.h"
#include "listening/pair/span.h"
#include "tuning/drawing.h"

#include <cmath>
#include <cstdio>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

struct BeatsOptions : HeardOptions {
    std::string reference_hz;
    std::string reference_file;
    std::string alone_file;
    std::string interval = "1:1";
};

/// One pipe in a recording of its own, where it stands, on the channel that hears it best.
Result<listening::PitchReading> alone_in(const std::string& file, std::optional<Hertz> near) {
    const auto recording = capture::read_recording(file, {});
    if (!recording) return tl::unexpected(recording.error());
    const auto best = best_channel(*recording, [&](const std::vector<float>& samples) {
        const auto standing = listening::measure_standing(samples, recording->rate, near);
        return standing ? standing->reading
                        : listening::measure_pipe(samples, recording->rate, near);
    });
    if (!best)
        return fail(ErrorKind::nothing_heard,
                    file +
                        ": no steady pipe is heard in this recording of one alone; cut it to the "
                        "part where that pipe stands");
    return *best;
}

/// What is known before both are heard.
struct Beforehand {
    KnownReference reference;
    organ::Meeting interval;
    std::optional<listening::PitchReading> reference_alone, pipe_alone;
};

Result<Beforehand> known_beforehand(const BeatsOptions& options) {
    Beforehand known;
    const auto interval = parse_interval(options.interval);
    if (!interval) return tl::unexpected(interval.error());
    known.interval = *interval;
    if (options.reference_file.empty()) {
        const auto reference = known_by_number(options.reference_hz);
        if (!reference) return tl::unexpected(reference.error());
        known.reference = *reference;
    } else {
        const auto reference = alone_in(options.reference_file, std::nullopt);
        if (!reference) return tl::unexpected(reference.error());
        known.reference_alone = *reference;
        known.reference = {reference->pitch, reference->sd};
    }
    if (options.alone_file.empty()) return known;
    const Hertz pure = known.reference.pitch * interval->reference_partial / interval->pipe_partial;
    const auto pipe = alone_in(options.alone_file, pure);
    if (!pipe) return tl::unexpected(pipe.error());
    known.pipe_alone = *pipe;
    return known;
}

listening::PairRequest request_for(const Beforehand& known, SampleRate rate) {
    return {rate, known.reference.pitch, known.reference.sd, known.interval.reference_partial,
            known.interval.pipe_partial};
}

/// What was asked for; otherwise where both stand, as the loudest channel has it.
listening::SteadySpan span_heard(const capture::Recording& recording, const BeatsOptions& options,
                                 const Beforehand& known) {
    if (options.from || options.to) return {0, recording.frames()};
    return listening::pair_span(loudest_channel(recording), request_for(known, recording.rate));
}

/// The sound measured as if it were one pipe's.
std::optional<listening::PitchReading> as_one(const capture::Recording& recording,
                                              const listening::SteadySpan& span,
                                              const Beforehand& known) {
    const Hertz near = known.reference.pitch / known.interval.pipe_partial;
    return best_channel(recording, [&](const std::vector<float>& samples) {
        return listening::measure_pipe(
            std::span<const float>(samples).subspan(span.first, span.count), recording.rate, near);
    });
}

/// Whether the two draw each other; empty unless each was heard alone. `heard`: for so long.
std::optional<tuning::DrawingVerdict> judge(const Beforehand& known, Seconds heard,
                                            const std::optional<listening::PitchReading>& one,
                                            const std::optional<listening::BeatReading>& reading) {
    if (!known.reference_alone || !known.pipe_alone) return std::nullopt;
    tuning::DrawingEvidence evidence;
    evidence.reference = known.reference_alone;
    evidence.pipe = known.pipe_alone;
    evidence.together = reading;
    evidence.reference_partial = known.interval.reference_partial;
    evidence.pipe_partial = known.interval.pipe_partial;
    evidence.as_one = one;
    // Where only one tone is heard, they don't beat.
    if (!reading && one) {
        evidence.together.emplace();
        evidence.together->beat_sd = one->sd;
        evidence.together->under = one->sd * 2.0;
    }
    evidence.stray = tuning::usual_stray(known.reference.pitch, heard);
    return tuning::judge_drawing(evidence);
}

/// Why no beat is told. `one`: the sound as one pipe's.
std::string why_none(const std::optional<listening::PitchReading>& one) {
    if (!one)
        return "no pair is heard near that interval; check --interval and the reference, or give "
               "the part where both sound with --from and --to";
    char text[256];
    std::snprintf(
        text, sizeof text,
        "one tone only is heard, at %.3f Hz: both stand nearer than this recording tells, "
        "or only one of them sounds; hear each alone, or give the part where both sound "
        "with --from and --to",
        one->pitch.value());
    return text;
}

Json beats_json(const std::optional<listening::BeatReading>& reading,
                const std::optional<tuning::DrawingVerdict>& drawing) {
    Json out;
    for (const char* key :
         {"reference_hz", "pipe_hz", "beat_hz", "beat_sd", "cents", "under_hz", "drawing"})
        out[key] = nullptr;
    if (drawing) out["drawing"] = or_null(word_of(drawing->drawing));
    if (!reading) return out;
    out["reference_hz"] = reading->reference.value();
    out["pipe_hz"] = reading->pipe.value();
    out["beat_hz"] = reading->beat.value();
    out["beat_sd"] = reading->beat_sd.value();
    out["cents"] = reading->cents.value();
    out["under_hz"] = or_null(reading->under);
    return out;
}

std::string in_words(const listening::BeatReading& reading) {
    char text[128];
    if (reading.under)
        std::snprintf(text, sizeof text, "under %.3f beats a second", reading.under->value());
    else
        std::snprintf(text, sizeof text, "%s %.3f beats a second ± %.3f, %.3f cents",
                      reading.beat > Hertz{0.0} ? "sharp" : "flat", std::abs(reading.beat.value()),
                      reading.beat_sd.value(), std::abs(reading.cents.value()));
    return text;
}

/// That the reference was heard elsewhere than where it was known to be.
std::string where_it_stands(const listening::BeatReading& reading, const Beforehand& known) {
    char text[160];
    std::snprintf(text, sizeof text,
                  "the reference stands at %.3f Hz, not at the %.3f %s: its own partials say so",
                  reading.reference.value(), known.reference.pitch.value(),
                  known.reference_alone ? "of its recording" : "given");
    return text;
}

ExitCode hear_file(const BeatsOptions& options) {
    const auto known = known_beforehand(options);
    if (!known) {
        if (options.json && known.error().kind == ErrorKind::nothing_heard)
            std::cout << beats_json(std::nullopt, std::nullopt).dump() << "\n";
        return report(known.error());
    }
    const auto recording = options.recording();
    if (!recording) return report(recording.error());
    const listening::SteadySpan span = span_heard(*recording, options, *known);
    const auto reading = best_channel(*recording, [&](const std::vector<float>& samples) {
        return listening::measure_pair(
            std::span<const float>(about_the_mean(samples)).subspan(span.first, span.count),
            request_for(*known, recording->rate));
    });
    std::optional<listening::PitchReading> one;
    if (!reading || known->pipe_alone) one = as_one(*recording, span, *known);
    const auto drawing = judge(
        *known, duration(static_cast<std::int64_t>(span.count), recording->rate), one, reading);
    const double from_s = seconds_in_file(*recording, span.first),
                 to_s = seconds_in_file(*recording, span.first + span.count);
    const double clipped = clipped_in(*recording);
    warn_of_overload(clipped, "a beat");
    if (options.json) {
        Json line = beats_json(reading, drawing);
        line["perhaps_one"] = reading && reading->perhaps_one;
        line["reference_contradicted"] = reading && reading->reference_contradicted;
        line["from_s"] = from_s;
        line["to_s"] = to_s;
        line["clipped"] = clipped;
        std::cout << line.dump() << "\n";
    }
    if (!options.json && reading)
        std::printf("%s%s\nreference %.4f Hz, pipe %.4f Hz\nheard from %.2f to %.2f s\n",
                    in_words(*reading).c_str(),
                    reading->perhaps_one
                        ? "; one of them alone would sound so too: hear each by itself"
                        : "",
                    reading->reference.value(), reading->pipe.value(), from_s, to_s);
    if (!options.json && reading && reading->reference_contradicted)
        std::printf("%s\n", where_it_stands(*reading, *known).c_str());
    if (!options.json && drawing) std::printf("%s\n", drawing->advice.c_str());
    if (reading || (drawing && word_of(drawing->drawing))) return kDone;
    return report({ErrorKind::nothing_heard, why_none(one), Place{options.file}});
}

void print_live(const listening::PairHearing& hearing, bool json) {
    const double now_s = duration(hearing.now - FrameIndex{}, hearing.rate).count();
    if (json) {
        Json line = beats_json(hearing.reading, std::nullopt);
        line["perhaps_one"] = hearing.perhaps_both;
        line["heard_s"] = hearing.heard.count();
        line["drift_hz_a_second"] = or_null(hearing.drift_hz_a_second);
        std::cout << line.dump() << std::endl;
        return;
    }
    if (hearing.reading)
        std::printf("%9.2f s  %s; reference %.3f Hz, %.1f s heard\n", now_s,
                    in_words(*hearing.reading).c_str(), hearing.reading->reference.value(),
                    hearing.heard.count());
    else
        std::printf("%9.2f s  one tone, taken for the reference: %.3f Hz\n", now_s,
                    hearing.reference->pitch.value());
    std::fflush(stdout);
}

ExitCode hear_beats_live(const BeatsOptions& options) {
    using Printed = LiveReadings::Printed;
    const auto known = known_beforehand(options);
    if (!known) return report(known.error());
    std::unique_ptr<listening::PairListener> listener;
    LiveReadings readings;
    readings.nothing =
        "no pair was heard near that interval; check --interval and the reference's pitch";
    readings.input = options.live();
    readings.input.begin = [&](SampleRate rate, int channels) {
        listener = std::make_unique<listening::PairListener>(
            listening::PairListener::Parameters{rate, channels});
        listener->expect({known->reference.pitch, known->reference.sd,
                          known->interval.reference_partial, known->interval.pipe_partial});
    };
    readings.input.take = [&](const capture::CaptureBlock& block) {
        listener->process(block.first,
                          {block.samples.data(), std::size_t{block.frames} * block.channels});
    };
    readings.print = [&] {
        const listening::PairHearing& hearing = listener->hearing();
        const bool alone = !options.json && hearing.reference_alone && hearing.reference;
        if (!hearing.reading && !alone) return Printed::nothing;
        print_live(hearing, options.json);
        return hearing.reading ? Printed::reading : Printed::aside;
    };
    return print_live_readings(readings);
}

}  // namespace

void add_beats_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<BeatsOptions>();
    CLI::App* command =
        app.add_subcommand("beats", "Hear a reference and a pipe together and say their beat");
    options->add_to(*command, "a WAV or FLAC recording of both");
    auto* reference = command->add_option_group("reference", "how the reference is known");
    reference->add_option("--reference-hz", options->reference_hz,
                          "its pitch in Hz, as exact as its digits");
    reference->add_option("--reference", options->reference_file, "a recording of it alone");
    reference->require_option(1);
    command
        ->add_option("--interval", options->interval,
                     "M:N: the reference's partial M meets the pipe's partial N")
        ->capture_default_str();
    command->add_option("--alone", options->alone_file,
                        "a recording of the pipe alone: with --reference, tells whether the two "
                        "draw each other");
    command->callback([options, &code] {
        code = options->file.empty() ? hear_beats_live(*options) : hear_file(*options);
    });
}

}  // namespace rankwright::app

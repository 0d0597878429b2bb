// One recorded pipe: accuracy and cost beside aubio's pitch methods, on the same spans in one run.
// Prints a Markdown table. Usage: one_pipe_bench [spans per pipe]
#include "listening/measure.h"
#include "support/coverage.h"
#include "support/phase_slope.h"
#include "support/recordings.h"
#include "support/tones.h"

#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <functional>
#include <random>

#include <aubio/aubio.h>

using namespace rankwright;
using namespace rankwright::testing;

namespace {

struct Span {
    const RecordedPipe* pipe = nullptr;
    std::size_t channel = 0;
    std::size_t first = 0;
    std::size_t count = 0;
    double reference_hz = 0.0;

    std::span<const float> samples() const {
        return std::span(pipe->channels[channel]).subspan(first, count);
    }
};

/// Reads the pitch of one span; 0 for no answer.
using Method = std::function<double(const Span&)>;

double ours(const Span& span) {
    const auto reading = listening::measure_pipe(span.samples(), SampleRate{span.pipe->rate},
                                                 Hertz{span.pipe->nominal_hz()});
    return reading ? reading->pitch.value() : 0.0;
}

/// aubio's median over the span's frames, with a window long enough for the note.
double aubio(const char* method, unsigned window, const Span& span) {
    constexpr unsigned kHop = 512;
    const auto rate = static_cast<unsigned>(span.pipe->rate);
    aubio_pitch_t* pitch = new_aubio_pitch(method, window, kHop, rate);
    if (pitch == nullptr) return 0.0;
    aubio_pitch_set_unit(pitch, "Hz");
    fvec_t* in = new_fvec(kHop);
    fvec_t* out = new_fvec(1);
    std::vector<double> frames;
    const auto samples = span.samples();
    for (std::size_t at = 0; at + kHop <= samples.size(); at += kHop) {
        for (unsigned i = 0; i < kHop; ++i)
            fvec_set_sample(in, samples[at + i], i);
        aubio_pitch_do(pitch, in, out);
        // Frames before the window is full hear a step, not the pipe.
        if (at + kHop >= window && fvec_get_sample(out, 0) > 0.0F)
            frames.push_back(static_cast<double>(fvec_get_sample(out, 0)));
    }
    del_fvec(in);
    del_fvec(out);
    del_aubio_pitch(pitch);
    if (frames.empty()) return 0.0;
    std::sort(frames.begin(), frames.end());
    return frames[frames.size() / 2];
}

std::vector<Span> spans_of(const std::vector<RecordedPipe>& pipes, double seconds, int each) {
    std::mt19937_64 random(2);
    std::vector<Span> spans;
    for (const RecordedPipe& pipe : pipes) {
        const auto [first, last] = standing(pipe);
        const auto count = static_cast<std::size_t>(seconds * pipe.rate);
        if (last < first + count) continue;
        for (int i = 0; i < each; ++i) {
            Span span{&pipe, random() % pipe.channels.size(),
                      first + random() % (last - first - count + 1), count, 0.0};
            // The reference needs the pitch to a few cents; ours only chooses its bands.
            const double near = ours(span);
            if (near <= 0.0) continue;
            const auto reference = phase_slope_pitch(pipe.channels[span.channel], span.first,
                                                     span.first + count, pipe.rate, near);
            if (!reference) continue;
            span.reference_hz = *reference;
            spans.push_back(span);
        }
    }
    return spans;
}

/// Processor time, so that other programs running meanwhile don't count.
double processor_seconds() {
    return static_cast<double>(std::clock()) / static_cast<double>(CLOCKS_PER_SEC);
}

void print_row(const char* name, const std::vector<Span>& spans, const Method& method) {
    Errors errors;
    double heard = 0.0;
    const double start = processor_seconds();
    std::vector<double> answers;
    for (const Span& span : spans) {
        answers.push_back(method(span));
        heard += static_cast<double>(span.count) / span.pipe->rate;
    }
    const double spent = processor_seconds() - start;
    for (std::size_t i = 0; i < spans.size(); ++i) {
        if (answers[i] > 0.0) errors.add(cents(spans[i].reference_hz, answers[i]), 1.0);
    }
    std::printf("| %s | %zu of %zu | %.4f | %.3f | %.2f %% | %.0f |\n", name, errors.count(),
                spans.size(), errors.median(), errors.worst_of_20(), 100.0 * spent / heard,
                heard / spent);
}

}  // namespace

int main(int argc, char** argv) {
    const int each = argc > 1 ? std::atoi(argv[1]) : 3;
    const std::vector<RecordedPipe> pipes = recorded_pipes({"Montre8", "Trompette8"});
    for (const double seconds : {2.4, 0.5}) {
        const std::vector<Span> spans = spans_of(pipes, seconds, each);
        std::printf(
            "\n%.1f s spans\n\n| method | answered | median, cents | 95 %%, cents | of one "
            "core | × real time |\n|---|---|---|---|---|---|\n",
            seconds);
        print_row("Rankwright", spans, ours);
        for (const char* method : {"yinfft", "yinfast", "mcomb", "schmitt", "fcomb"}) {
            // Longer windows are finer, as long as some frames are left in half a second.
            for (const unsigned window : {4096U, 8192U, 16384U}) {
                const std::string name =
                    "aubio " + std::string(method) + ", " + std::to_string(window);
                print_row(name.c_str(), spans,
                          [&](const Span& span) { return aubio(method, window, span); });
            }
        }
    }
    return 0;
}

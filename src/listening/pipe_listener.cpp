#include "listening/pipe_listener.h"

#include "listening/pipe_state.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr int kLookEvery = 8;        // steps, while a pipe stands
constexpr Seconds kLongestGap{1.0};  // after a longer one a tone isn't the same tone
constexpr Cents kLooseReading{4.0};  // in deep noise, after a while
constexpr Seconds kLooseAfter{0.6};

}  // namespace

PipeListener::PipeListener(const Parameters& parameters)
    : state_(std::make_unique<State>(parameters)) {}
PipeListener::~PipeListener() = default;
PipeListener::PipeListener(PipeListener&&) noexcept = default;
PipeListener& PipeListener::operator=(PipeListener&&) noexcept = default;

void PipeListener::expect(std::optional<Hertz> pitch) {
    if (pitch != state_->expected) state_->frames.clear();
    state_->expected = pitch;
}

const Hearing& PipeListener::hearing() const { return state_->hearing; }

std::span<const PartialFrame> PipeListener::partial_frames() const { return state_->frames; }

void PipeListener::process(FrameIndex first, std::span<const float> interleaved) {
    state_->take(first, interleaved);
}

void PipeListener::State::take(FrameIndex first, std::span<const float> interleaved) {
    if (!steps.next() || first != *steps.next()) lose(first);
    steps.take(first, interleaved, [this](FrameIndex begin, std::span<const float> whole) {
        sound.push(begin, whole);
        meter.take(whole);
        hearing.now = begin + static_cast<std::int64_t>(whole.size()) / channels;
        step = steps.number(hearing.now);
        analyse();
    });
}

void PipeListener::State::lose(FrameIndex next_first) {
    steps.drop();
    const auto next = steps.next();
    const bool long_gap =
        !next || next_first < *next || duration(next_first - *next, rate) > kLongestGap;
    finder.reset();
    trial.stop();
    if (long_gap) {
        last.reset();
        active.stop();
        meter.reset();
    }
}

void PipeListener::State::analyse() {
    active.process(sound);
    trial.process(sound);
    const bool idle = !active.active() && !trial.active();
    std::optional<Hertz> known;
    if (active.active())
        known = active.pitch();
    else if (trial.active())
        known = trial.pitch();
    const bool unsure = idle || active.speaking() || active.disturbed() || active.ending();
    if (unsure || step % kLookEvery == 0) {
        if (active.active()) {
            active.list_lines(last_lines);
            last_sounded = sound.end();
        }
        finder.look(sound, {.step = step,
                            .awaited = expected,
                            .known = known,
                            .idle = idle,
                            .stands = !unsure,
                            .last = last_lines,
                            .last_ended = duration(sound.end() - last_sounded, sound.rate())});
    }
    judge_active();
    judge_trial();
    report();
}

void PipeListener::State::report() {
    hearing.input = meter.level();
    hearing.suspicions = {};
    hearing.suspicions.clipping = hearing.input.clipped > kClippedShare;
    hearing.suspicions.mains_hum = finder.mains_hum();
    hearing.suspicions.only_wind = !active.active() && sound.end() < wind.until;
    hearing.reading.reset();
    hearing.drift_cents_a_second.reset();
    hearing.coarse.reset();
    if (!active.active()) {
        hearing.sounding = Sounding::silence;
        hearing.tone_level = Decibels{-120.0};
        return;
    }
    if (active.disturbed())
        hearing.sounding = Sounding::disturbed;
    else if (active.speaking())
        hearing.sounding = Sounding::speaking;
    else
        hearing.sounding = active.moving() ? Sounding::moving : Sounding::steady;
    hearing.coarse = active.pitch();
    hearing.tone_level = Decibels{active.level_db()};
    hearing.suspicions.tremulant = active.tremulant();
    hearing.suspicions.fading = active.fading();
    hearing.suspicions.octave_doubtful = doubtful;
    hearing.reading = honest_reading();
    if (hearing.reading && active.drift_known())
        hearing.drift_cents_a_second = active.drift_cents_a_second();
    if (step % kFrameEvery == 0) add_partial_frame();
}

std::optional<PitchReading> PipeListener::State::honest_reading() const {
    if (active.speaking() || active.disturbed() || active.ending() || active.tremulant())
        return std::nullopt;
    const bool long_heard = active.steady_hops() * active.hop() > kLooseAfter && !active.moving();
    if (active.sd() > (long_heard ? kLooseReading : kFirstReading)) return std::nullopt;
    PitchReading reading;
    reading.pitch = active.pitch();
    reading.sd = transpose(reading.pitch, active.sd()) - reading.pitch;
    reading.to = of_stream(active.heard_to());
    const auto memory =
        static_cast<std::int64_t>(std::lround(active.memory().count() * rate.value()));
    reading.from = reading.to + -memory;
    reading.snr = active.snr();
    reading.clipped = hearing.input.clipped;
    reading.partials = active.partials();
    return reading;
}

void PipeListener::State::add_partial_frame() {
    if (frames.size() == frames.capacity()) frames.clear();
    PartialFrame frame;
    frame.at = hearing.now;
    for (std::size_t k = 0; k < kRibbonPartials; ++k)
        frame.phasor[k] = active.phasor(static_cast<int>(k) + 1, expected.value_or(first_pitch));
    frames.push_back(frame);
}

}  // namespace rankwright::listening

#include "accuracy/live_pair.h"

#include "listening/pair/listener.h"
#include "listening/pipe_listener.h"
#include "simulator/chamber.h"
#include "simulator/simulated_helper.h"
#include "storage/instrument_file.h"
#include "tuning/against_reference.h"
#include "visit/run.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::testing {

namespace {

constexpr SampleRate kRate{48000.0};
constexpr double kAlone_s = 2.0;
constexpr double kBefore_s = 5.0;  // a key that is held before
const auto kPiece = static_cast<std::size_t>(kLook_s * kRate.value() + 0.5);
const auto kStep = static_cast<std::int64_t>(kPiece);

/// Turns of the first beat, of the two as they sounded.
class Truth {
  public:
    Truth(const simulator::Chamber& chamber, const organ::Reference& reference,
          const organ::Pipe& pipe)
        : chamber_(chamber), reference_(reference), pipe_(pipe) {}
    void look() {
        const auto a = chamber_.cycles(reference_.pipe.id);
        const auto b = chamber_.cycles(pipe_.id);
        if (a) reference_turns_.push_back(*a);
        if (!a || !b) return turns_.clear();
        turns_.push_back(reference_.pipe_partial * *b - reference_.reference_partial * *a);
    }
    bool both() const { return !turns_.empty(); }
    double since_s() const { return static_cast<double>(turns_.size()) * kLook_s; }
    double cent_hz() const {
        return reference_.pipe_partial * chamber_.true_pitch(pipe_.id).value() * std::log(2.0) /
               1200.0;
    }
    double reference_hz() const {
        return (reference_turns_.back() - reference_turns_.front()) /
               (static_cast<double>(reference_turns_.size() - 1) * kLook_s);
    }
    /// Mean beat over the last `span_s`.
    double beat(double span_s) const {
        const auto count = std::clamp<std::size_t>(
            static_cast<std::size_t>(std::lround(span_s / kLook_s)), 1, turns_.size() - 1);
        return (turns_.back() - turns_[turns_.size() - 1 - count]) /
               (static_cast<double>(count) * kLook_s);
    }

  private:
    const simulator::Chamber& chamber_;
    organ::Reference reference_;
    organ::Pipe pipe_;
    std::vector<double> turns_, reference_turns_;
};

const organ::Instrument& emberlow() {
    static const organ::Instrument instrument =
        storage::load_instrument(RANKWRIGHT_INSTRUMENTS "/emberlow.toml").value();
    return instrument;
}

/// How far this pipe's device has to go for so many cents, as a small move of it tells.
Millimetres by_cents(simulator::Chamber& chamber, const PipeId& pipe, double cents) {
    constexpr Millimetres kTried{0.1};
    const Hertz stood = chamber.true_pitch(pipe);
    chamber.move_device(pipe, kTried);
    const double tried = interval(stood, chamber.true_pitch(pipe)).value();
    chamber.move_device(pipe, Millimetres{-kTried.value()});
    return Millimetres{kTried.value() * cents / tried};
}

void judge(const tuning::PairedState& state, const Truth& truth, LiveOutcome& out) {
    using tuning::Stage;
    const Stage stage = state.pipe.stage;
    const double t = truth.since_s();
    if (stage == Stage::reference) out.alone_s += kLook_s;
    const bool figure = state.beat && (stage == Stage::reading || stage == Stage::settled ||
                                       stage == Stage::moving);
    if (!figure) return;
    out.shown_s += kLook_s;
    if (!out.first_s) out.first_s = t;
    // The figure is a mean of readings, each of which rests on the last seconds: where between
    // what was heard of late and all of it the pipe stood.
    const double all = truth.beat(t - 0.05), late = truth.beat(std::min(t - 0.05, 0.5));
    const double heard = truth.beat(std::max(0.2, std::min(t - 0.05, state.pipe.heard.count())));
    const auto [low, high] = std::minmax({all, late, heard});
    const double cent = truth.cent_hz();
    out.heard = state.beat->value();
    out.under = state.under.has_value();
    out.sd = out.under ? 0.5 * state.under->value() : state.beat_sd->value();
    const double error =
        out.under ? std::max(0.0, std::min({std::abs(low), std::abs(high), std::abs(heard)}) -
                                      state.under->value())
                  : std::max({0.0, low - out.heard, out.heard - high});
    const bool wrong = error > std::max((out.under ? 1.0 : 3.0) * out.sd, 0.1 * cent);
    if (wrong) {
        out.wrong_s += kLook_s;
        out.worst_cents = std::max(out.worst_cents, error / cent);
    }
    if (!wrong && out.sd <= cent && !out.right_s) out.right_s = t;
}

}  // namespace

std::string words(const LivePair& c) {
    return c.stop + " key " + std::to_string(c.key) + " seed " + std::to_string(c.seed) +
           (c.reference_first ? "" : ", both at once");
}

LiveOutcome hear_live(const LivePair& c, const LiveLook& look) {
    const organ::Instrument& instrument = emberlow();
    visit::Run run(instrument, organ::find_stop(instrument, c.stop).value(), {},
                   {.job = visit::Job::from_reference});
    run.go_to(c.key);
    tuning::AgainstReference job;
    job.expect(run.paired_expectation().value());
    const organ::Reference reference = job.expectation()->reference;
    const organ::Pipe pipe = job.expectation()->pipe;

    simulator::Chamber::Parameters parameters;
    parameters.seed = c.seed;
    parameters.mistuning = Cents{c.off_cents};
    parameters.temperature = instrument.at;
    if (c.moved_cents != 0.0) parameters.handling = 0.0;
    simulator::Chamber chamber(instrument, parameters);
    simulator::SimulatedHelper helper({.seed = c.seed});
    helper.draw(reference.pipe.division, reference.pipe.stop, true);
    helper.hold_back(pipe.division, pipe.stop, Seconds{c.reference_first ? kAlone_s : 0.0});
    const auto call = [&](int key) {
        const int beside = key + reference.pipe.key - pipe.key;
        if (reference.pipe.division == pipe.division && beside == key)
            helper.call(pipe.division, key);
        else
            helper.call({pipe.division, key}, {reference.pipe.division, beside});
    };
    if (c.silent) chamber.put_mute_in(pipe.id);
    listening::PipeListener any({.rate = kRate, .channels = 1});
    listening::PairListener both({.rate = kRate, .channels = 1});
    any.expect(job.expectation()->reference_target);
    both.expect(job.awaited());

    bool moved = c.moved_cents == 0.0;
    const Millimetres move = moved ? Millimetres{0.0} : by_cents(chamber, pipe.id, c.moved_cents);
    LiveOutcome out;
    Truth truth(chamber, reference, pipe);
    std::vector<float> sound(kPiece);
    FrameIndex at;
    if (c.after_key != 0) {
        call(c.after_key);
        for (; duration(at - FrameIndex{}, kRate).count() < kBefore_s; at = at + kStep) {
            helper.advance(chamber, duration(at - FrameIndex{}, kRate));
            chamber.render(sound);
        }
    }
    call(pipe.key);
    for (; truth.since_s() < c.seconds; at = at + kStep) {
        helper.advance(chamber, duration(at - FrameIndex{}, kRate));
        if (!moved && truth.both() && truth.since_s() > c.moved_at_s) {
            chamber.move_device(pipe.id, move);
            moved = true;
        }
        chamber.render(sound);
        truth.look();
        any.process(at, sound);
        both.process(at, sound);
        job.hear(both.hearing(), any.hearing());
        const bool begun = truth.both() && truth.since_s() > 0.05;
        if (look && !helper.keys_down().empty())
            look(truth.since_s(), both.hearing(), job.state(),
                 begun ? truth.beat(std::max(0.1, both.hearing().heard.count())) : 0.0);
        if (!truth.both() && job.state().beat && !job.state().under && both.hearing().reading)
            out.phantom_s += kLook_s;
        if (!truth.both() && both.hearing().reading && !both.hearing().perhaps_both)
            out.told_s += kLook_s;
        if (begun) judge(job.state(), truth, out);
    }
    out.truth = truth.beat(truth.since_s());
    out.reference_hz = truth.reference_hz();
    out.cent_hz = truth.cent_hz();
    return out;
}

}  // namespace rankwright::testing

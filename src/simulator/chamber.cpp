#include "simulator/chamber.h"

#include "organ/target.h"
#include "simulator/handled_pipe.h"
#include "simulator/noises.h"
#include "simulator/room.h"
#include "simulator/sounding_pipe.h"
#include "simulator/voice.h"
#include "simulator/voicing.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>
#include <utility>
#include <vector>

namespace rankwright::simulator {

namespace {

constexpr double kTremulant_hz = 5.1;  // period 196 ms, level 15 %: a recorded organ's own figures
constexpr double kTremulantLevel = 0.15;
constexpr double kTremulantPitch_cents = 7.0;
constexpr double kTremulantStart_s = 0.4;
constexpr double kWindShare = 0.4;  // of a pipe's wander that all pipes on the wind share
constexpr double kWindMemory_s = 1.2;
constexpr double kLowCut_hz = 18.0;  // of a microphone's preamplifier

}  // namespace

struct Chamber::State {
    struct Sounding {
        std::size_t pipe;
        SoundingPipe sound;
    };

    State(const organ::Instrument& instrument, const Parameters& given);

    std::optional<std::size_t> find(const PipeId& id) const;
    bool wanted(const organ::Pipe& pipe) const;
    void update_keys();
    void put_on_wind(std::size_t pipe);
    void next_step();
    void breathe();  ///< the wind in the next step
    double now_s() const { return static_cast<double>(steps) * step_s; }

    Parameters parameters;
    std::size_t microphones;
    double step_s;
    std::vector<HandledPipe> pipes;
    std::vector<Sounding> sounding;
    std::set<std::pair<std::string, std::string>> drawn;
    std::set<std::pair<std::string, int>> held;
    std::uint64_t times_sounded = 0;

    Random wind_chance;
    Stray wind_stray;
    double wind_cents = 0.0;
    double wind_level = 1.0;
    bool tremulant = false;
    double tremulant_depth = 0.0;

    Background background;
    Knocks knocks;
    Voice voice;
    Room room;

    std::int64_t steps = 0;  ///< computed so far
    SoundBlock block;
    std::size_t used = kStepFrames;  ///< frames of `block` handed out
    std::array<float, kMostMicrophones> low_cut{};
};

Chamber::State::State(const organ::Instrument& instrument, const Parameters& given)
    : parameters(given),
      microphones(given.channels > 1 ? 2 : 1),
      step_s(static_cast<double>(kStepFrames) / given.rate.value()),
      wind_chance(given.seed, "wind"),
      wind_stray(1.0, kWindMemory_s, step_s, wind_chance),
      background({given.rate, microphones, given.blower, given.mains},
                 Random(given.seed, "background")),
      knocks(given.rate, Random(given.seed, "knocks")),
      voice(given.rate, Random(given.seed, "voice")),
      room(given.rate, given.reverberation, microphones, Random(given.seed, "room")) {
    organ::Day home;
    home.pitch = instrument.a;
    home.temperature = instrument.at;
    for (const organ::Pipe& pipe : organ::pipes(instrument)) {
        pipes.emplace_back(pipe, organ::target(instrument, pipe, home), instrument.at,
                           given.mistuning, Random(given.seed, to_string(pipe.id)));
    }
}

std::optional<std::size_t> Chamber::State::find(const PipeId& id) const {
    const auto at = std::find_if(pipes.begin(), pipes.end(),
                                 [&](const HandledPipe& p) { return p.pipe().id == id; });
    if (at == pipes.end()) return std::nullopt;
    return static_cast<std::size_t>(at - pipes.begin());
}

bool Chamber::State::wanted(const organ::Pipe& pipe) const {
    return held.count({pipe.id.division, pipe.id.key}) > 0 &&
           drawn.count({pipe.id.division, pipe.id.stop}) > 0;
}

void Chamber::State::update_keys() {
    for (std::size_t i = 0; i < pipes.size(); ++i) {
        const auto at = std::find_if(sounding.begin(), sounding.end(),
                                     [i](const Sounding& s) { return s.pipe == i; });
        if (!wanted(pipes[i].pipe())) {
            if (at != sounding.end()) at->sound.release();
        } else if (at == sounding.end()) {
            put_on_wind(i);
        } else {
            at->sound.speak();
        }
    }
}

void Chamber::State::put_on_wind(std::size_t index) {
    const HandledPipe& pipe = pipes[index];
    const std::string name = to_string(pipe.pipe().id);
    const Hertz pitch = pipe.pitch(parameters.temperature, now_s());
    Random character(parameters.seed, name + " voicing");
    const SoundingPipe::Place place{parameters.rate.value(), microphones,
                                    parameters.wander.value() * std::sqrt(1.0 - kWindShare)};
    sounding.push_back(
        {index, SoundingPipe(voicing(pipe.pipe(), pitch, character), pitch.value(), place,
                             Random(parameters.seed, name + " paths"),
                             Random(parameters.seed + ++times_sounded, name + " sound"))});
    sounding.back().sound.speak();
}

void Chamber::State::breathe() {
    const double depth_step = step_s / kTremulantStart_s;
    tremulant_depth =
        std::clamp(tremulant_depth + (tremulant ? depth_step : -depth_step), 0.0, 1.0);
    const double swing =
        tremulant_depth * std::sin(2.0 * std::numbers::pi * kTremulant_hz * now_s());
    wind_cents = parameters.wander.value() * std::sqrt(kWindShare) * wind_stray.next(wind_chance) +
                 kTremulantPitch_cents * swing;
    wind_level = 1.0 + kTremulantLevel * swing;
}

void Chamber::State::next_step() {
    block = {};
    breathe();
    for (Sounding& s : sounding) {
        const HandledPipe& pipe = pipes[s.pipe];
        const double cents = pipe.hand(now_s()).value() + wind_cents;
        const Hertz pitch = transpose(pipe.pitch(parameters.temperature, now_s()), Cents{cents});
        s.sound.render(block, pitch.value(), wind_level);
    }
    std::erase_if(sounding, [](const Sounding& s) { return s.sound.silent(); });
    knocks.render(block.events);
    voice.render(block.events);
    room.render(block);
    background.render(block);
    const auto gain = static_cast<float>(std::pow(10.0, parameters.gain.value() / 20.0));
    const auto low_share = static_cast<float>(
        1.0 - std::exp(-2.0 * std::numbers::pi * kLowCut_hz / parameters.rate.value()));
    for (std::size_t m = 0; m < microphones; ++m) {
        for (float& sample : block.microphones[m]) {
            low_cut[m] += low_share * (sample - low_cut[m]);
            sample = std::clamp(gain * (sample - low_cut[m]), -1.0F, 1.0F);
        }
    }
    ++steps;
    used = 0;
}

Chamber::Chamber(const organ::Instrument& instrument, const Parameters& parameters)
    : state_(std::make_unique<State>(instrument, parameters)) {}
Chamber::~Chamber() = default;
Chamber::Chamber(Chamber&&) noexcept = default;
Chamber& Chamber::operator=(Chamber&&) noexcept = default;

void Chamber::render(std::span<float> interleaved) {
    State& s = *state_;
    for (std::size_t i = 0; i + s.microphones <= interleaved.size(); i += s.microphones) {
        if (s.used == kStepFrames) s.next_step();
        for (std::size_t m = 0; m < s.microphones; ++m) {
            interleaved[i + m] = s.block.microphones[m][s.used];
        }
        ++s.used;
    }
}

void Chamber::draw_stop(std::string_view division, std::string_view stop, bool on) {
    for (const HandledPipe& handled : state_->pipes) {
        const organ::Pipe& pipe = handled.pipe();
        const bool meant = (pipe.id.division == division || pipe.division == division) &&
                           (pipe.id.stop == stop || pipe.stop == stop);
        if (!meant) continue;
        if (on) {
            state_->drawn.insert({pipe.id.division, pipe.id.stop});
        } else {
            state_->drawn.erase({pipe.id.division, pipe.id.stop});
        }
    }
    state_->update_keys();
}

void Chamber::key_down(std::string_view division, int key) {
    for (const HandledPipe& handled : state_->pipes) {
        const organ::Pipe& pipe = handled.pipe();
        if (pipe.id.key == key && (pipe.id.division == division || pipe.division == division)) {
            state_->held.insert({pipe.id.division, key});
        }
    }
    state_->update_keys();
}

void Chamber::key_up(std::string_view division, int key) {
    for (const HandledPipe& handled : state_->pipes) {
        const organ::Pipe& pipe = handled.pipe();
        if (pipe.id.key == key && (pipe.id.division == division || pipe.division == division)) {
            state_->held.erase({pipe.id.division, key});
        }
    }
    state_->update_keys();
}

void Chamber::move_device(const PipeId& id, Millimetres up) {
    if (const auto at = state_->find(id)) {
        state_->pipes[*at].move(up, state_->now_s(), state_->parameters.handling);
    }
}

void Chamber::settle_wire(const PipeId& id) {
    if (const auto at = state_->find(id)) state_->pipes[*at].settle();
}

void Chamber::set_temperature(Celsius air) { state_->parameters.temperature = air; }
void Chamber::say_next() { state_->voice.say_next(); }
void Chamber::knock() { state_->knocks.knock(); }
void Chamber::footstep() { state_->knocks.footstep(); }
void Chamber::set_tremulant(bool on) { state_->tremulant = on; }

Hertz Chamber::true_pitch(const PipeId& id) const {
    const auto at = state_->find(id);
    if (!at) return Hertz{0.0};
    return state_->pipes[*at].pitch(state_->parameters.temperature, state_->now_s());
}

std::optional<double> Chamber::cycles(const PipeId& id) const {
    for (const State::Sounding& s : state_->sounding) {
        if (state_->pipes[s.pipe].pipe().id != id) continue;
        const double left = static_cast<double>(kStepFrames - state_->used) / kStepFrames;
        return s.sound.cycles() - left * s.sound.last_step_cycles();
    }
    return std::nullopt;
}

}  // namespace rankwright::simulator

#include "simulator/chamber.h"

#include "organ/target.h"
#include "simulator/handled_pipe.h"
#include "simulator/near_field.h"
#include "simulator/noises.h"
#include "simulator/room.h"
#include "simulator/sounding_pipe.h"
#include "simulator/voice.h"
#include "simulator/voicing.h"

#include <algorithm>
#include <cmath>
#include <map>
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
// Pipes that draw each other stand some two diameters apart (Toepfer's Normalmensur: 55 mm at
// middle C, halving after 16 semitones, so as pitch to the power −3/4).
constexpr double kNearest_m = 0.08, kFarthest_m = 0.13;
constexpr double kMiddleC_hz = 261.6, kSpeedOfSound = 343.2;
constexpr double kNearPitch_cents = 100.0;  // farther apart, nothing is left of drawing
constexpr double kReedDrawing = 0.25;       // a tongue is stiffer; common practice, no source
constexpr double kSlowGlide_cents = -60.0;  // common practice, no source
constexpr double kSlowRise = 0.15, kSlowGlide = 0.5;  // of the time until it stands near its pitch
constexpr double kMuteTakes_s = 0.06;                 // to 1/e, as the cloth goes in or out

}  // namespace

struct Chamber::State {
    struct Sounding {
        std::size_t pipe;
        SoundingPipe sound;
    };

    State(const organ::Instrument& instrument, const Parameters& given);

    std::optional<std::size_t> find(const PipeId& id) const;
    bool wanted(std::size_t pipe) const;
    void update_keys();
    void put_on_wind(std::size_t pipe);
    void meet(std::size_t pipe);  ///< the pipes that sound beside it
    void next_step();
    void breathe();      ///< the wind in the next step
    void sound_pipes();  ///< the next step of all that sound
    /// How much of a pipe's tone its mute lets through in the next step.
    double through_mute(std::size_t pipe);
    double now_s() const { return static_cast<double>(steps) * step_s; }

    Parameters parameters;
    std::size_t microphones;
    double step_s;
    std::vector<HandledPipe> pipes;
    std::vector<Sounding> sounding;
    struct Mute {
        bool in = false;
        double lets_through = 1.0;  ///< in the end
        double now = 1.0;
    };
    std::vector<Mute> mutes;  ///< beside `pipes`
    std::set<std::size_t> ciphers;
    std::map<std::size_t, Seconds> slow;  ///< pipes whose speech isn't their own
    /// A stop by which a pipe can be played, its own or one that borrows it, and the key there.
    struct Player {
        std::string division, stop;  ///< ids
        int key;
    };
    std::vector<std::vector<Player>> players;  ///< beside `pipes`
    struct DivisionNames {
        std::string id, name;
        std::vector<std::pair<std::string, std::string>> stops;  ///< ids and names
        bool is(std::string_view given) const { return id == given || name == given; }
    };
    std::vector<DivisionNames> names;
    std::set<std::pair<std::string, std::string>> drawn;
    std::set<std::pair<std::string, int>> held;
    std::uint64_t times_sounded = 0;
    NearField near_field;

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
    std::map<PipeId, std::size_t> index;
    for (std::size_t i = 0; i < pipes.size(); ++i)
        index[pipes[i].pipe().id] = i;
    mutes.resize(pipes.size());
    players.resize(pipes.size());
    for (const organ::Division& division : instrument.divisions) {
        names.push_back({division.id, division.name, {}});
        for (const organ::Stop& stop : division.stops) {
            names.back().stops.emplace_back(stop.id, stop.name);
            for (const organ::Pipe& pipe : organ::pipes({&division, &stop, &instrument}))
                players[index.at(pipe.id)].push_back({division.id, stop.id, pipe.key});
        }
    }
}

std::optional<std::size_t> Chamber::State::find(const PipeId& id) const {
    const auto at = std::find_if(pipes.begin(), pipes.end(),
                                 [&](const HandledPipe& p) { return p.pipe().id == id; });
    if (at == pipes.end()) return std::nullopt;
    return static_cast<std::size_t>(at - pipes.begin());
}

bool Chamber::State::wanted(std::size_t pipe) const {
    return std::any_of(players[pipe].begin(), players[pipe].end(), [&](const Player& player) {
        return (held.count({player.division, player.key}) > 0 || ciphers.count(pipe) > 0) &&
               drawn.count({player.division, player.stop}) > 0;
    });
}

void Chamber::State::update_keys() {
    for (std::size_t i = 0; i < pipes.size(); ++i) {
        const auto at = std::find_if(sounding.begin(), sounding.end(),
                                     [i](const Sounding& s) { return s.pipe == i; });
        if (!wanted(i)) {
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
    const PipeId& id = pipe.pipe().id;
    const std::string name = to_string(id);
    const bool draws = parameters.drawing.value() > 0.0;
    // What cancels between two mouths side by side does so in the room too: one path for both.
    const std::string place_name = draws ? id.division + std::to_string(id.key) : name;
    const Hertz pitch = pipe.pitch(parameters.temperature, now_s());
    mutes[index].now = mutes[index].lets_through;
    Random character(parameters.seed, name + " voicing");
    const SoundingPipe::Place place{parameters.rate.value(), microphones,
                                    parameters.wander.value() * std::sqrt(1.0 - kWindShare)};
    Voicing voiced = voicing(pipe.pipe(), pitch, character);
    if (const auto speech = slow.find(index); speech != slow.end()) {
        voiced.rise_s = kSlowRise * speech->second.count();
        voiced.glide_cents = kSlowGlide_cents;
        voiced.glide_s = kSlowGlide * speech->second.count();
    }
    sounding.push_back(
        {index,
         SoundingPipe(voiced, pitch.value(), place, Random(parameters.seed, place_name + " paths"),
                      Random(parameters.seed + ++times_sounded, name + " sound"))});
    sounding.back().sound.speak();
    if (draws) meet(index);
}

void Chamber::State::meet(std::size_t index) {
    const organ::Pipe& pipe = pipes[index].pipe();
    const Hertz pitch = pipes[index].pitch(parameters.temperature, now_s());
    const double force = sounding.back().sound.standing_force();
    for (const Sounding& s : sounding) {
        const organ::Pipe& other = pipes[s.pipe].pipe();
        if (s.pipe == index || other.id.division != pipe.id.division || other.id.key != pipe.id.key)
            continue;
        const Hertz its_pitch = pipes[s.pipe].pitch(parameters.temperature, now_s());
        if (std::abs(interval(pitch, its_pitch).value()) > kNearPitch_cents) continue;
        const std::size_t low = std::min(s.pipe, index);
        const std::size_t high = std::max(s.pipe, index);
        Random place(parameters.seed,
                     to_string(pipes[low].pipe().id) + to_string(pipes[high].pipe().id));
        const double apart =
            place.uniform(kNearest_m, kFarthest_m) * std::pow(kMiddleC_hz / pitch.value(), 0.75);
        NearField::Meeting meeting{s.pipe, index, pitch.value()};
        meeting.delay =
            std::clamp(2.0 * std::numbers::pi * pitch.value() * apart / kSpeedOfSound, 0.1, 0.7);
        meeting.balance = s.sound.standing_force() / force;
        const bool reed = pipe.make.reed() || other.make.reed();
        meeting.half_width = (reed ? kReedDrawing : 1.0) * parameters.drawing;
        near_field.join(meeting);
    }
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

double Chamber::State::through_mute(std::size_t pipe) {
    Mute& mute = mutes[pipe];
    mute.now += (1.0 - std::exp(-step_s / kMuteTakes_s)) * (mute.lets_through - mute.now);
    return mute.now;
}

void Chamber::State::sound_pipes() {
    std::array<Swing, NearField::kMost> swings{};
    const std::size_t neighbours = std::min(sounding.size(), swings.size());
    const auto own_hz = [this](Sounding& s) {
        const HandledPipe& pipe = pipes[s.pipe];
        const double cents = pipe.hand(now_s()).value() + wind_cents;
        return s.sound.breathe(
            transpose(pipe.pitch(parameters.temperature, now_s()), Cents{cents}).value());
    };
    for (std::size_t i = 0; i < neighbours; ++i) {
        Sounding& s = sounding[i];
        const double hz = own_hz(s);
        swings[i] = {s.pipe, hz, s.sound.radians(), s.sound.force() * mutes[s.pipe].now,
                     s.sound.strength()};
    }
    if (parameters.drawing.value() > 0.0)
        near_field.step(std::span(swings.data(), neighbours), step_s);
    for (std::size_t i = 0; i < sounding.size(); ++i) {
        const double hz = i < neighbours ? swings[i].hz : own_hz(sounding[i]);
        const double strength = i < neighbours ? swings[i].strength : 1.0;
        sounding[i].sound.render(block, hz, strength, through_mute(sounding[i].pipe), wind_level);
    }
    std::erase_if(sounding, [this](const Sounding& s) {
        if (s.sound.silent()) near_field.part(s.pipe);
        return s.sound.silent();
    });
}

void Chamber::State::next_step() {
    block = {};
    breathe();
    sound_pipes();
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
    for (const State::DivisionNames& names : state_->names) {
        if (!names.is(division)) continue;
        for (const auto& [id, name] : names.stops) {
            if (id != stop && name != stop) continue;
            if (on) {
                state_->drawn.insert({names.id, id});
            } else {
                state_->drawn.erase({names.id, id});
            }
        }
    }
    state_->update_keys();
}

void Chamber::key_down(std::string_view division, int key) {
    for (const State::DivisionNames& names : state_->names)
        if (names.is(division)) state_->held.insert({names.id, key});
    state_->update_keys();
}

void Chamber::key_up(std::string_view division, int key) {
    for (const State::DivisionNames& names : state_->names)
        if (names.is(division)) state_->held.erase({names.id, key});
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

void Chamber::put_mute_in(const PipeId& id, std::optional<Decibels> leak) {
    if (const auto at = state_->find(id)) {
        State::Mute& mute = state_->mutes[*at];
        mute.in = true;
        mute.lets_through = leak ? std::pow(10.0, leak->value() / 20.0) : 0.0;
    }
}

void Chamber::take_mute_out(const PipeId& id) {
    if (const auto at = state_->find(id)) {
        state_->mutes[*at].in = false;
        state_->mutes[*at].lets_through = 1.0;
    }
}

std::vector<PipeId> Chamber::muted() const {
    std::vector<PipeId> in;
    for (std::size_t i = 0; i < state_->mutes.size(); ++i)
        if (state_->mutes[i].in) in.push_back(state_->pipes[i].pipe().id);
    return in;
}

void Chamber::set_cipher(const PipeId& id, bool on) {
    const auto at = state_->find(id);
    if (!at) return;
    if (on)
        state_->ciphers.insert(*at);
    else
        state_->ciphers.erase(*at);
    state_->update_keys();
}

void Chamber::set_speech(const PipeId& id, Seconds creeps) {
    const auto at = state_->find(id);
    if (!at) return;
    if (creeps > Seconds{0.0})
        state_->slow[*at] = creeps;
    else
        state_->slow.erase(*at);
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

#include "simulator/sounding_pipe.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::simulator {

namespace {

using std::numbers::pi;
using Complex = std::complex<double>;

constexpr double kFirstBreath = 0.004;   // amplitude at which speech starts to grow
constexpr double kLogisticRise = 4.394;  // 10 to 90 % of a logistic, in its time constants
constexpr double kTaperFrom = 0.44;      // partials fade out from here to the end,
constexpr double kTaperTo = 0.49;        // as shares of the sample rate
constexpr int kReflections = 6;
// Wander as in recordings: about half of it slower than a second, the rest jitter.
constexpr double kWanderMemory_s = 0.8;
constexpr double kWanderEdge_hz = 2.0;
constexpr double kJitterMemory_s = 0.05;
constexpr double kJitterShare = 0.6;
// Moving air makes each partial's path waver by itself; in recordings the second partial strays
// from the first by 0.02 to 0.3 radian in two seconds.
constexpr double kAirDepth = 0.03;  // at 500 Hz
constexpr double kAirMemory_s = 0.6;
constexpr double kAirEdge_hz = 3.0;
constexpr double kUsualWander_cents = 0.3;

// Recordings: 0.1 to 0.6 cent above tenor C, 0.5 to 2 cents in the bottom octaves; a reed's tongue
// is steadier.
double wander_scale(const Voicing& voicing, double pitch_hz) {
    return voicing.wandering * std::clamp(std::sqrt(261.6 / pitch_hz), 0.6, 3.5);
}

}  // namespace

WindNoise::WindNoise(const Voicing& voicing, double pitch_hz, double rate_hz, Random& random)
    : reflection_(voicing.stopped ? -0.88F : 0.88F),
      soften_(static_cast<float>(
          1.0 - std::exp(-2.0 * pi * std::max(2500.0, 2.0 * pitch_hz) / rate_hz))) {
    const double way = rate_hz / (pitch_hz * voicing.stretch) / (voicing.stopped ? 2.0 : 1.0);
    const double whole = std::max(1.0, std::floor(way));
    part_ = static_cast<float>(std::max(0.0, way - whole));
    tube_.assign(static_cast<std::size_t>(whole) + 1, 0.0F);
    double power = 0.0;
    constexpr int kTrial = 2048;
    for (std::size_t i = 0; i < 8 * tube_.size(); ++i)
        raw(random);
    for (int i = 0; i < kTrial; ++i) {
        const double sample = raw(random);
        power += sample * sample;
    }
    gain_ = static_cast<float>(1.0 / std::sqrt(power / kTrial));
}

float WindNoise::raw(Random& random) {
    // tube_[at_] is the oldest sample, one more than the whole way back.
    const std::size_t newer = at_ + 1 == tube_.size() ? 0 : at_ + 1;
    const float back = tube_[newer] + part_ * (tube_[at_] - tube_[newer]);
    smooth_ += soften_ * (random.noise() - smooth_);
    tube_[at_] = smooth_ + reflection_ * back;
    const float sample = tube_[at_];
    at_ = newer;
    return sample;
}

float WindNoise::next(Random& random) { return gain_ * raw(random); }

SoundingPipe::SoundingPipe(const Voicing& voicing, double pitch_hz, const Place& place,
                           Random paths, Random chance)
    : voicing_(voicing),
      rate_hz_(place.rate_hz),
      step_s_(static_cast<double>(kStepFrames) / place.rate_hz),
      microphones_(place.microphones),
      lanes_((voicing.partials.size() + kLanes - 1) / kLanes),
      chance_(chance),
      wander_scale_(place.wander_cents * wander_scale(voicing, pitch_hz)),
      stirred_(place.wander_cents / kUsualWander_cents),
      slow_(1.0, kWanderMemory_s, step_s_, chance_),
      jitter_(kJitterShare, kJitterMemory_s, step_s_, chance_),
      level_(0.035, 0.7, step_s_, chance_),  // 0.3 dB
      noise_(voicing, pitch_hz, place.rate_hz, chance_) {
    lay_paths(place, pitch_hz, paths);
}

// The standing wave: at each microphone the direct sound meets its reflections, which helps some
// partials and hinders others.
void SoundingPipe::lay_paths(const Place& place, double pitch_hz, Random& paths) {
    struct Reflection {
        double delay_s, gain;
    };
    for (std::size_t m = 0; m < place.microphones; ++m) {
        const double near = std::pow(10.0, paths.uniform(-2.0, 2.0) / 20.0);
        std::array<Reflection, kReflections> reflections{};
        for (Reflection& r : reflections) {
            r = {paths.uniform(0.002, 0.022), paths.uniform(-0.45, 0.45)};
        }
        for (std::size_t i = 0; i < voicing_.partials.size(); ++i) {
            const double hz = pitch_hz * static_cast<double>(i + 1);
            Complex path = 1.0;
            for (const Reflection& r : reflections) {
                path += std::polar(r.gain, -2.0 * pi * hz * r.delay_s);
            }
            path *= near;
            Lanes& lanes = lanes_[i / kLanes];
            lanes.path_re[m][i % kLanes] = static_cast<float>(path.real());
            lanes.path_im[m][i % kLanes] = static_cast<float>(path.imag());
            Air& air = lanes.air[m][i % kLanes];
            air.still = std::complex<float>(path);
            air.depth =
                static_cast<float>(stirred_ * std::min(kAirDepth * std::sqrt(hz / 500.0), 0.15));
        }
    }
}

void SoundingPipe::stir_air() {
    const auto keep = static_cast<float>(std::exp(-step_s_ / kAirMemory_s));
    const float kick = std::sqrt(1.0F - keep * keep);
    const auto share = static_cast<float>(1.0 - std::exp(-2.0 * pi * kAirEdge_hz * step_s_));
    for (Lanes& lanes : lanes_) {
        for (std::size_t m = 0; m < microphones_; ++m) {
            for (std::size_t l = 0; l < kLanes; ++l) {
                Air& air = lanes.air[m][l];
                const float along = chance_.noise();
                const float across = chance_.noise();
                air.stray = keep * air.stray + kick * std::complex<float>(along, across);
                air.smoothed += share * (air.stray - air.smoothed);
                const std::complex<float> swing = 1.0F + air.depth * air.smoothed;
                lanes.path_re[m][l] =
                    air.still.real() * swing.real() - air.still.imag() * swing.imag();
                lanes.path_im[m][l] =
                    air.still.real() * swing.imag() + air.still.imag() * swing.real();
            }
        }
    }
}

void SoundingPipe::speak() {
    if (!wind_on_) glide_ = voicing_.glide_cents * (1.0 - speech_);
    wind_on_ = true;
}

double SoundingPipe::advance_speech() {
    if (!wind_on_) return speech_ * std::exp(-step_s_ / voicing_.release_s);
    if (speech_ < kFirstBreath) return kFirstBreath;
    const double memory = voicing_.rise_s / kLogisticRise;
    return 1.0 / (1.0 + (1.0 / speech_ - 1.0) * std::exp(-step_s_ / memory));
}

double SoundingPipe::cents_off(double speech) {
    smoothed_ +=
        (1.0 - std::exp(-2.0 * pi * kWanderEdge_hz * step_s_)) * (slow_.next(chance_) - smoothed_);
    const double wander = wander_scale_ * (smoothed_ + jitter_.next(chance_));
    // In speech the jet is still finding its place; with the wind gone the pipe sinks.
    if (wind_on_) glide_ *= std::exp(-step_s_ / voicing_.glide_s);
    const double sinking = wind_on_ ? 0.0 : -12.0 * (1.0 - speech);
    return wander + glide_ + sinking;
}

void SoundingPipe::set_phasors(double hz, double from, double to) {
    const double turn = 2.0 * pi * hz / rate_hz_;
    const Complex first = std::polar(1.0, 2.0 * pi * (cycles_ - std::floor(cycles_)));
    const Complex first_rotor = std::polar(1.0, turn);
    const bool changing = std::abs(to - from) > 1e-9;
    const double growth = changing ? std::log(to / from) / static_cast<double>(kStepFrames) : 0.0;
    Complex phasor = 1.0;
    Complex rotor = 1.0;
    for (std::size_t i = 0; i < voicing_.partials.size(); ++i) {
        const Voicing::Partial& partial = voicing_.partials[i];
        phasor *= first;
        rotor *= first_rotor;
        const double edge = static_cast<double>(i + 1) * hz / rate_hz_;
        const double taper = std::clamp((kTaperTo - edge) / (kTaperTo - kTaperFrom), 0.0, 1.0);
        double level = partial.level * taper;
        double grow = 1.0;
        if (from < 0.9999 || changing) level *= std::pow(from, partial.rise);
        if (changing) grow = std::exp(partial.rise * growth);
        const Complex start = level * phasor * std::polar(1.0, partial.phase);
        Lanes& lanes = lanes_[i / kLanes];
        const std::size_t lane = i % kLanes;
        lanes.re[lane] = static_cast<float>(start.real());
        lanes.im[lane] = static_cast<float>(start.imag());
        lanes.rotor_re[lane] = static_cast<float>(grow * rotor.real());
        lanes.rotor_im[lane] = static_cast<float>(grow * rotor.imag());
    }
}

void SoundingPipe::add_tone(SoundBlock& block, float from, float to) {
    using Sums = std::array<std::array<float, kLanes>, kStepFrames>;
    std::array<Sums, kMostMicrophones + 1> sums{};
    for (Lanes& lanes : lanes_) {
        if (lanes.re == std::array<float, kLanes>{} && lanes.im == std::array<float, kLanes>{}) {
            continue;  // eight partials beyond the taper
        }
        for (std::size_t n = 0; n < kStepFrames; ++n) {
            for (std::size_t l = 0; l < kLanes; ++l) {
                const float re = lanes.re[l];
                const float im = lanes.im[l];
                sums[0][n][l] += lanes.path_re[0][l] * re - lanes.path_im[0][l] * im;
                sums[1][n][l] += lanes.path_re[1][l] * re - lanes.path_im[1][l] * im;
                sums[2][n][l] += re;
                lanes.re[l] = re * lanes.rotor_re[l] - im * lanes.rotor_im[l];
                lanes.im[l] = re * lanes.rotor_im[l] + im * lanes.rotor_re[l];
            }
        }
    }
    const float slope = (to - from) / static_cast<float>(kStepFrames);
    const auto add = [&](const Sums& sum, StepSamples& into) {
        for (std::size_t n = 0; n < kStepFrames; ++n) {
            float total = 0.0F;
            for (const float part : sum[n])
                total += part;
            into[n] += total * (from + slope * static_cast<float>(n));
        }
    };
    for (std::size_t m = 0; m < microphones_; ++m)
        add(sums[m], block.microphones[m]);
    add(sums[kMostMicrophones], block.to_room);
}

void SoundingPipe::add_noise(SoundBlock& block, double speech, double wind) {
    // The chiff swells and dies while the tone grows: 4 s (1 - s) peaks at half speech.
    const double chiff = wind_on_ ? 4.0 * speech * (1.0 - speech) * voicing_.chiff : 0.0;
    const auto level = static_cast<float>(wind * speech * voicing_.breath + chiff);
    for (std::size_t n = 0; n < kStepFrames; ++n) {
        const float sample = level * noise_.next(chance_);
        block.to_room[n] += sample;
        for (std::size_t m = 0; m < microphones_; ++m)
            block.microphones[m][n] += sample;
    }
}

double SoundingPipe::breathe(double pitch_hz) {
    next_speech_ = advance_speech();
    return pitch_hz * std::exp2(cents_off(next_speech_) / 1200.0);
}

double SoundingPipe::radians() const {
    return 2.0 * pi * (cycles_ - std::floor(cycles_)) + voicing_.partials.front().phase;
}

void SoundingPipe::render(SoundBlock& block, double hz, double strength, double tone, double wind) {
    const double from = std::max(speech_, kFirstBreath * 0.01);
    const double gain = strength * tone * wind * (1.0 + level_.next(chance_));
    set_phasors(hz, from, next_speech_);
    if (stirred_ > 0.0) stir_air();
    add_tone(block, static_cast<float>(gain_), static_cast<float>(gain));
    add_noise(block, next_speech_, wind);
    step_cycles_ = hz / rate_hz_ * static_cast<double>(kStepFrames);
    cycles_ += step_cycles_;
    speech_ = next_speech_;
    strength_ = strength;
    gain_ = gain;
}

}  // namespace rankwright::simulator

// A simulated survey of each stop named, with pipes slow of speech at keys drawn by the seed, told
// fault by fault; run by hand.
//   survey_laboratory ORGAN.toml [--seed N] [--seeds COUNT] [--slow PIPES] [--dead PIPES]
//   [--creeps S] [--cipher KEY [--stuck]] [--also STOP_ID] [--tremulant]
//   [--tells]
//   STOP...
// Played as a helper plays a rank through: 2 s a key, give or take a tenth, 0.25 s between. STOP is
// "Division/Stop". A cipher sounds from the beginning, or, stuck, from when its key was played; key
// −1: drawn by the seed. Truth is the key that was down and what its pipe sounded while it was
// read, wander and all. STOP_ID of the same division, left on, sounds as an octave coupler would.
#include "organ/instrument.h"
#include "simulator/chamber.h"
#include "simulator/random.h"
#include "storage/instrument_file.h"
#include "tuning/survey.h"
#include "tuning/survey_recording.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

namespace {

using namespace rankwright;

constexpr SampleRate kRate{24000.0};

struct Plan {
    std::uint64_t seed = 1;
    int seeds = 1, slow = 5, dead = 0;
    double creeps_s = 1.6;
    int cipher = 0;
    bool stuck = false, tells = false, tremulant = false;
    std::string also;  ///< id of another stop of the division that is drawn as well
};

struct Count {
    int slow = 0, found = 0, dead = 0, silent = 0, false_slow = 0, other = 0, keys = 0, read = 0;
    int ciphers = 0, named = 0, misplaced = 0, hidden = 0;
    std::vector<double> errors, of_sd;  ///< cents, and over the uncertainty with the wander in it
    // Of keys away from the cipher by so many semitones: how many, read, wrong by 3 sd and 0.5
    // cent.
    std::map<int, std::array<int, 3>> by_interval;
};

class Take {
  public:
    Take(const organ::Instrument& instrument, organ::StopRef stop, const Plan& plan,
         std::uint64_t seed)
        : instrument_(instrument),
          stop_(stop),
          plan_(plan),
          random_(seed, "play " + stop.stop->id),
          chamber_(instrument, {.rate = kRate, .seed = seed, .temperature = instrument.at}) {
        const auto pipes = organ::pipes(stop);
        for (int i = 0; i < plan.slow; ++i) {
            const auto at =
                static_cast<std::size_t>(random_.uniform() * static_cast<double>(pipes.size()));
            slow_[pipes[at].key] = false;
            chamber_.set_speech(pipes[at].id, Seconds{plan.creeps_s});
        }
        for (int i = 0; i < plan.dead; ++i) {
            const auto at =
                static_cast<std::size_t>(random_.uniform() * static_cast<double>(pipes.size()));
            if (slow_.count(pipes[at].key) != 0) continue;
            dead_.insert(pipes[at].key);
            chamber_.put_mute_in(pipes[at].id);
        }
    }

    void play() {
        const auto pipes = organ::pipes(stop_);
        if (plan_.cipher != 0) {
            const auto drawn =
                static_cast<std::size_t>(random_.uniform() * static_cast<double>(pipes.size()));
            for (const organ::Pipe& pipe : pipes)
                if (plan_.cipher < 0 ? pipe.key == pipes[drawn].key : pipe.key == plan_.cipher)
                    cipher_ = pipe;
        }
        if (cipher_ && !plan_.stuck) chamber_.set_cipher(cipher_->id, true);
        chamber_.draw_stop(stop_.division->id, stop_.stop->id, true);
        if (!plan_.also.empty()) chamber_.draw_stop(stop_.division->id, plan_.also, true);
        chamber_.set_tremulant(plan_.tremulant);
        wait(0.8);
        for (const organ::Pipe& pipe : organ::pipes(stop_)) {
            pressed_[pipe.key] = now_s();
            if (cipher_ && cipher_->key == pipe.key) chamber_.set_cipher(pipe.id, true);
            chamber_.key_down(stop_.division->id, pipe.key);
            down_ = pipe;
            wait(2.0 * std::clamp(1.0 + 0.1 * random_.normal(), 0.7, 1.4));
            down_.reset();
            chamber_.key_up(stop_.division->id, pipe.key);
            wait(0.25 * std::clamp(1.0 + random_.normal() / 3.0, 0.4, 2.5));
        }
        wait(1.5);
    }

    void judge(Count& count) {
        const tuning::SurveyPlan plan{&instrument_, organ::pipes(stop_), {}};
        const auto tones = tuning::tones_of_recording(sound_, kRate, 1);
        const auto result = tuning::judge_survey(plan, tones, kRate);
        for (const tuning::SurveyFault& fault : result.faults) {
            const int key = fault.pipe ? fault.pipe->key : 0;
            const bool speech = fault.kind == tuning::FaultKind::off_speech;
            const bool missing = fault.kind == tuning::FaultKind::missing;
            if (missing && fault.time_passed == true && dead_.count(key) != 0) {
                ++count.silent;
                continue;
            }
            if (fault.kind == tuning::FaultKind::cipher && cipher_ && cipher_->key == key) {
                ++count.named;
                continue;
            }
            const auto slow = slow_.find(key);
            if (speech && slow != slow_.end() && fault.speech && !fault.heard) {
                slow->second = true;
                continue;
            }
            ++(speech ? count.false_slow : count.other);
            std::printf("  falsely said: %s %d: kind %d, speech %.2f, heard %.1f\n",
                        stop_.stop->id.c_str(), key, static_cast<int>(fault.kind),
                        fault.speech ? fault.speech->count() : -1.0,
                        fault.heard ? fault.heard->value() : 0.0);
            if (plan_.tells) tell(key, tones);
        }
        if (plan_.tells)
            for (const tuning::HeardTone& tone : tones) {
                std::printf("  nth %.0f Hz:", tone.pitch.value());
                for (const tuning::EveryNth& nth : tone.every_nth)
                    std::printf("  %d %.2f (%.2f)", nth.times, nth.apart.value(), nth.sd.value());
                std::printf("\n");
            }
        for (const auto& [key, found] : slow_) {
            ++count.slow;
            count.found += found ? 1 : 0;
            if (found) continue;
            std::printf("  missed: %s %d\n", stop_.stop->id.c_str(), key);
            if (plan_.tells) tell(key, tones);
        }
        count.ciphers += cipher_ ? 1 : 0;
        count.hidden += static_cast<int>(result.hidden.size());
        if (plan_.tells)
            for (const organ::Pipe& pipe : result.hidden) {
                std::printf("  hidden: %s %d\n", stop_.stop->id.c_str(), pipe.key);
                tell(pipe.key, tones);
            }
        if (cipher_ && plan_.tells)
            std::printf("  cipher: %s %d, %.2f Hz\n", stop_.stop->id.c_str(), cipher_->key,
                        chamber_.true_pitch(cipher_->id).value());
        judge_readings(result, tones, count);
        count.dead += static_cast<int>(dead_.size());
        count.keys += static_cast<int>(plan.pipes.size());
        count.read += static_cast<int>(result.readings.size());
    }

  private:
    void judge_readings(const tuning::SurveyResult& result,
                        const std::vector<tuning::HeardTone>& tones, Count& count) {
        constexpr double kPastKnowing = 0.05;  // cents: what differs with how a mean is taken
        if (cipher_)
            for (const organ::Pipe& pipe : organ::pipes(stop_))
                ++count.by_interval[pipe.key - cipher_->key][0];
        for (const tuning::SurveyReading& reading : result.readings) {
            const int key = reading.pipe.key;
            const double middle =
                0.5 * (duration(reading.tone.stood - FrameIndex{}, kRate).count() +
                       duration(reading.tone.to - FrameIndex{}, kRate).count());
            const double since = middle - pressed_[key];
            const bool own = cipher_ && cipher_->key == key;
            if ((since < 0.0 || since > 3.0) && !own) {
                ++count.misplaced;
                std::printf("  misplaced: %s %d at %.1f s\n", stop_.stop->id.c_str(), key, since);
                continue;
            }
            if (!reading.tone.read || reading.slip != tuning::Slip::none) continue;
            const auto truth = own ? sounded(key, {}, FrameIndex{INT64_MAX})
                                   : sounded(key, reading.tone.stood, reading.tone.to);
            if (!truth) continue;
            const double error = interval(*truth, reading.tone.pitch).value();
            const double sd = std::hypot(reading.tone.uncertainty.value(), kPastKnowing);
            count.errors.push_back(std::abs(error));
            count.of_sd.push_back(std::abs(error) / sd);
            const bool wrong = std::abs(error) > std::max(0.5, 3.0 * sd);
            if (wrong && slow_.count(key) == 0) {
                std::printf("  wrong: %s %d by %.2f cents, said %.2f\n", stop_.stop->id.c_str(),
                            key, error, reading.tone.uncertainty.value());
                if (plan_.tells) tell(key, tones);
            }
            if (!cipher_) continue;
            ++count.by_interval[key - cipher_->key][1];
            count.by_interval[key - cipher_->key][2] += wrong ? 1 : 0;
        }
    }

    double now_s() const { return static_cast<double>(sound_.size()) / kRate.value(); }
    void wait(double seconds) {
        std::vector<float> next(kStep);
        for (double step_s = kStep / kRate.value(); seconds > 0.0; seconds -= step_s) {
            if (down_) cycles_[down_->key].push_back({sound_.size(), chamber_.cycles(down_->id)});
            if (cipher_ && (!down_ || down_->key != cipher_->key))
                cycles_[cipher_->key].push_back({sound_.size(), chamber_.cycles(cipher_->id)});
            chamber_.render(next);
            sound_.insert(sound_.end(), next.begin(), next.end());
        }
    }

    /// What the pipe sounded in a span, wander and all: the least-squares slope of its phase.
    std::optional<Hertz> sounded(int key, FrameIndex from, FrameIndex to) const {
        const auto found = cycles_.find(key);
        if (found == cycles_.end()) return std::nullopt;
        double n = 0.0, t = 0.0, c = 0.0, tt = 0.0, tc = 0.0;
        std::optional<Moment> first;
        for (const Moment& at : found->second) {
            const auto frame = static_cast<std::int64_t>(at.frame);
            if (frame < from.value || frame >= to.value || !at.cycles) continue;
            if (!first) first = at;
            const double x = static_cast<double>(at.frame - first->frame) / kRate.value();
            const double y = *at.cycles - *first->cycles;
            n += 1.0;
            t += x;
            c += y;
            tt += x * x;
            tc += x * y;
        }
        if (n < 10.0) return std::nullopt;
        return Hertz{(tc - t * c / n) / (tt - t * t / n)};
    }

    // What was heard while the key was down.
    void tell(int key, const std::vector<tuning::HeardTone>& tones) {
        if (pressed_.count(key) == 0) return;
        const double from = pressed_[key];
        const auto all = organ::pipes(stop_);
        const auto pipe =
            std::find_if(all.begin(), all.end(), [&](const auto& one) { return one.key == key; });
        const Hertz truth = chamber_.true_pitch(pipe->id);
        for (const tuning::HeardTone& tone : tones) {
            const auto after = [&](FrameIndex at) {
                return duration(at - FrameIndex{}, kRate).count() - from;
            };
            if (after(tone.left) < -0.3 || after(tone.from) > 2.4) continue;
            std::printf(
                "    from %.2f stood %.2f to %.2f left %.2f: %.1f cents (about %.1f) "
                "read %d crept %d speech %.2f disturbed %d tremulant %d level %.0f\n",
                after(tone.from), after(tone.stood), after(tone.to), after(tone.left),
                interval(truth, tone.pitch).value(), interval(truth, tone.about).value(), tone.read,
                tone.crept, tone.speech ? tone.speech->count() : -1.0, tone.onset_disturbed,
                tone.tremulant, tone.level.value());
            std::printf("     ");
            for (const listening::PartialLevel& partial : tone.partials)
                std::printf(" %d:%.0f", partial.number, partial.level.value());
            std::printf("\n");
        }
    }

    static constexpr std::size_t kStep = 240;
    struct Moment {
        std::size_t frame;
        std::optional<double> cycles;
    };

    const organ::Instrument& instrument_;
    organ::StopRef stop_;
    const Plan& plan_;
    simulator::Random random_;
    simulator::Chamber chamber_;
    std::vector<float> sound_;
    std::map<int, bool> slow_;  ///< by key: was it found
    std::set<int> dead_;        ///< keys
    std::optional<organ::Pipe> cipher_;
    std::map<int, double> pressed_;
    std::optional<organ::Pipe> down_;
    std::map<int, std::vector<Moment>> cycles_;  ///< of the key that is down, and of the cipher
};

double share_of(std::vector<double> values, double share) {
    if (values.empty()) return 0.0;
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1))];
}

double within(const std::vector<double>& values, double most) {
    const auto in =
        std::count_if(values.begin(), values.end(), [&](double value) { return value <= most; });
    return values.empty() ? 0.0 : static_cast<double>(in) / static_cast<double>(values.size());
}

}  // namespace

int main(int argc, char** argv) {
    CLI::App options("a simulated survey");
    std::string file;
    std::vector<std::string> stops;
    Plan plan;
    options.add_option("organ", file)->required();
    options.add_option("stops", stops)->required();
    options.add_option("--seed", plan.seed);
    options.add_option("--seeds", plan.seeds);
    options.add_option("--slow", plan.slow);
    options.add_option("--dead", plan.dead);
    options.add_option("--creeps", plan.creeps_s);
    options.add_option("--cipher", plan.cipher);
    options.add_option("--also", plan.also);
    options.add_flag("--stuck", plan.stuck);
    options.add_flag("--tremulant", plan.tremulant);
    options.add_flag("--tells", plan.tells);
    CLI11_PARSE(options, argc, argv);
    const auto instrument = storage::load_instrument(file);
    if (!instrument) return 2;
    Count all;
    for (const std::string& name : stops) {
        const auto stop = organ::find_stop(*instrument, name);
        if (!stop) {
            std::fprintf(stderr, "%s\n", stop.error().message.c_str());
            return 2;
        }
        for (int i = 0; i < plan.seeds; ++i) {
            Take take(*instrument, *stop, plan, plan.seed + static_cast<std::uint64_t>(i));
            take.play();
            take.judge(all);
        }
    }
    std::printf("%d of %d dead pipes found\n", all.silent, all.dead);
    std::printf("%d of %d slow pipes found, %d falsely slow, %d other faults, %d of %d keys read\n",
                all.found, all.slow, all.false_slow, all.other, all.read, all.keys);
    std::printf(
        "%zu figures: median %.3f, 95 %% %.3f, worst %.2f cents; in 1, 2, 3 sd %.2f %.2f %.2f; "
        "%d misplaced; %d of %d ciphers named, %d keys hidden\n",
        all.errors.size(), share_of(all.errors, 0.5), share_of(all.errors, 0.95),
        share_of(all.errors, 1.0), within(all.of_sd, 1.0), within(all.of_sd, 2.0),
        within(all.of_sd, 3.0), all.misplaced, all.named, all.ciphers, all.hidden);
    for (const auto& [semitones, counts] : all.by_interval)
        if (semitones != 0 && (counts[1] < counts[0] || counts[2] > 0))
            std::printf("  %+d: %d keys, %d read, %d wrong\n", semitones, counts[0], counts[1],
                        counts[2]);
    return 0;
}

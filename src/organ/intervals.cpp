#include "organ/intervals.h"

#include "core/text.h"
#include "organ/note.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <map>

namespace rankwright::organ {

namespace {

constexpr std::array<TuningInterval, 11> kIntervals{{{"unison", 0, 1, 1},
                                                     {"minor third", 3, 6, 5},
                                                     {"major third", 4, 5, 4},
                                                     {"fourth", 5, 4, 3},
                                                     {"fifth", 7, 3, 2},
                                                     {"minor sixth", 8, 8, 5},
                                                     {"major sixth", 9, 5, 3},
                                                     {"octave", 12, 2, 1},
                                                     {"major tenth", 16, 5, 2},
                                                     {"twelfth", 19, 3, 1},
                                                     {"seventeenth", 28, 5, 1}}};

// Today's target of each key of a rank.
class KeyPitches {
  public:
    KeyPitches(const Instrument& instrument, const StopRef& stop, const Day& day) {
        for (const Pipe& pipe : pipes(stop))
            if (pipe.id.row == 1) pitches_[pipe.key] = target(instrument, pipe, day);
    }
    bool has(int key) const { return pitches_.count(key) > 0; }
    BeatingInterval between(int low, int high, const TuningInterval& interval) const {
        return {low, high, &interval, beat(interval, pitches_.at(low), pitches_.at(high))};
    }

  private:
    std::map<int, Hertz> pitches_;
};

const TuningInterval* by_semitones(int semitones) {
    for (const TuningInterval& interval : kIntervals)
        if (interval.semitones == semitones) return &interval;
    return nullptr;
}

// The fifth (0 = C–G … 11 = F–C) that the bearings don't cross: the one tempered most.
std::size_t wolf_of(const Temperament& temperament) {
    const Fifths fifths = fifths_of(temperament);
    std::size_t wolf = 8;
    for (std::size_t i = 0; i < fifths.size(); ++i)
        if (std::abs(fifths[i].value()) > std::abs(fifths[wolf].value()) + 0.01) wolf = i;
    return wolf;
}

// Builds the plan step by step, keeping what stands already.
class BearingsPlanner {
  public:
    BearingsPlanner(const KeyPitches& pitches, const Bearings& bearings)
        : pitches_(pitches), bearings_(bearings) {}

    void start(int key) {
        BearingStep step;
        step.key = step.from = key;
        step.to_set = pitches_.between(key, key, *find_interval("unison"));
        add(std::move(step));
    }

    // Tunes the note a fifth (`up`) above the one that stood last on this side, an octave down
    // where it would leave the keys; or a fifth below, an octave up.
    int by_fifth(int from, bool up) {
        int key = up ? from + 7 : from - 7;
        if (key > bearings_.last_key) key -= 12;
        if (key < bearings_.first_key) key += 12;
        set(key, from);
        return key;
    }

    void octaves() {
        for (int key = bearings_.first_key; key <= bearings_.last_key; ++key) {
            if (stands(key)) continue;
            set(key, stands(key - 12) ? key - 12 : key + 12);
        }
    }

    std::vector<BearingStep> take() { return std::move(steps_); }

  private:
    bool stands(int key) const {
        return std::find(standing_.begin(), standing_.end(), key) != standing_.end();
    }

    void set(int key, int from) {
        BearingStep step;
        step.key = key;
        step.from = from;
        const int low = std::min(key, from), high = std::max(key, from);
        const TuningInterval* interval = by_semitones(high - low);
        assert(interval != nullptr);
        step.to_set = pitches_.between(low, high, *interval);
        step.key_beat = key == high ? step.to_set.beat : -step.to_set.beat;
        for (const int other : standing_) {
            const int span = std::abs(other - key);
            if (span != 3 && span != 4 && span != 8 && span != 9) continue;
            step.checks.push_back(
                pitches_.between(std::min(key, other), std::max(key, other), *by_semitones(span)));
        }
        add(std::move(step));
    }

    void add(BearingStep step) {
        standing_.push_back(step.key);
        steps_.push_back(std::move(step));
    }

    const KeyPitches& pitches_;
    const Bearings& bearings_;
    std::vector<int> standing_;
    std::vector<BearingStep> steps_;
};

}  // namespace

std::span<const TuningInterval> tuning_intervals() { return kIntervals; }

const TuningInterval* find_interval(std::string_view name) {
    for (const TuningInterval& interval : kIntervals)
        if (name == interval.name) return &interval;
    return nullptr;
}

Hertz beat(const TuningInterval& interval, Hertz low, Hertz high) {
    return high * interval.lower - low * interval.upper;
}

std::string to_words(const BeatingInterval& beating, int lowest_midi) {
    const double rate = beating.beat.value();
    constexpr double kPure = 0.005;
    const std::string notes =
        text_of({beating.interval->name, " ", note_name(lowest_midi + beating.low_key - 1), " – ",
                 note_name(lowest_midi + beating.high_key - 1)});
    if (std::abs(rate) < kPure) return text_of({notes, " pure"});
    return text_of({notes, rate > 0.0 ? " wide, " : " narrow, ", decimal(std::abs(rate), 2),
                    " beats a second"});
}

std::vector<BeatingInterval> beat_table(const Instrument& instrument, const StopRef& stop,
                                        int first_key, int last_key, const Day& day) {
    const KeyPitches pitches(instrument, stop, day);
    std::vector<BeatingInterval> table;
    for (const TuningInterval& interval : kIntervals) {
        if (interval.semitones < 3 || interval.semitones > 9) continue;
        for (int low = first_key; low + interval.semitones <= last_key; ++low)
            if (pitches.has(low) && pitches.has(low + interval.semitones))
                table.push_back(pitches.between(low, low + interval.semitones, interval));
    }
    return table;
}

std::vector<BearingStep> bearings_plan(const Instrument& instrument, const Day& day) {
    assert(instrument.bearings);
    const Bearings& bearings = *instrument.bearings;
    const StopRef stop = stop_by_id(instrument, bearings.division, bearings.stop);
    assert(stop.stop != nullptr);
    const KeyPitches pitches(instrument, stop, day);
    BearingsPlanner planner(pitches, bearings);
    const auto pitch_class = [&](int key) { return (stop.division->lowest_midi + key - 1) % 12; };
    int a = bearings.first_key;
    while (pitch_class(a) != 9)
        ++a;
    planner.start(a);
    // Fifths are counted from C–G = 0, so the one above A is the third, the one below it the
    // second.
    const std::size_t wolf = wolf_of(instrument.temperament);
    int key = a;
    for (std::size_t fifth = 3; fifth % 12 != wolf; ++fifth)
        key = planner.by_fifth(key, true);
    key = a;
    for (std::size_t fifth = 2 + 12; fifth % 12 != wolf; --fifth)
        key = planner.by_fifth(key, false);
    planner.octaves();
    return planner.take();
}

std::optional<Reference> reference_of(const Instrument& instrument, const BearingStep& step,
                                      const Day& day) {
    if (step.key == step.from || !instrument.bearings) return std::nullopt;
    const StopRef stop =
        stop_by_id(instrument, instrument.bearings->division, instrument.bearings->stop);
    auto from = pipe_of(stop, step.from);
    const auto pipe = pipe_of(stop, step.key);
    if (!from || !pipe) return std::nullopt;
    const TuningInterval& interval = *step.to_set.interval;
    const bool upward = step.key > step.from;
    Reference out;
    out.reference_partial = upward ? interval.upper : interval.lower;
    out.pipe_partial = upward ? interval.lower : interval.upper;
    out.beat = target(instrument, *pipe, day) * out.pipe_partial -
               target(instrument, *from, day) * out.reference_partial;
    constexpr double kPure = 0.005;
    const double wide = step.to_set.beat.value();
    out.words = text_of({interval.name, upward ? " up from " : " down from ", from->note,
                         wide > kPure    ? ", wide"
                         : wide < -kPure ? ", narrow"
                                         : ", pure"});
    out.pipe = std::move(*from);
    return out;
}

}  // namespace rankwright::organ

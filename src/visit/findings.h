// What a survey has to say: what is wrong with the whole first, then the single pipes, the most
// audible first.
#pragma once

#include "organ/instrument.h"
#include "tuning/survey.h"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace rankwright::visit {

enum class FindingKind {
    wrong_stop,         ///< another stop sounded than the one that was asked for
    second_pipe,        ///< another sounded with each key: a coupler, or another stop as well
    semitone_doubtful,  ///< a key and a semitone may be mistaken for each other
    tremulant,          ///< was on
    day,                ///< thermometer and pipes disagree
    trend,              ///< a whole rank or chest side has gone one way
    hidden,             ///< keys that couldn't be read under a cipher
    not_played,         ///< keys that nobody played, or that didn't sound
    cipher,
    missing,     ///< skipped, or silent
    octave,      ///< overblows, or another key was played
    off_speech,  ///< slow, through another note, or never settling
    no_key,      ///< a tone that belongs to no key of the rank
    out_of_tune,
};
/// "out_of_tune": the word in files.
const char* word_of(FindingKind kind);

struct Finding {
    FindingKind kind = FindingKind::out_of_tune;
    std::optional<organ::Pipe> pipe;  ///< empty: the whole rank, or some of it
    std::optional<Seconds> at;        ///< in the sound
    std::optional<Cents> deviation;   ///< out_of_tune: from the trend; trend: from the target
    std::optional<Hertz>
        beat;                 ///< out_of_tune: with the ensemble, first partials, positive = sharp
    double audibility = 0.0;  ///< out_of_tune: see audibility.h
    std::string words;        ///< one sentence, without the stop's name
    bool of_sides = false;    ///< trend: of one chest side beside the other, not of the whole rank
    bool sounded = false;     ///< missing: in its turn something sounded that wasn't read
};

/// "an octave high", "a twelfth low", "34.2 cents high".
std::string interval_words(Cents interval);

/// A stop as it was surveyed.
struct SurveyedStop {
    organ::StopRef stop;
    tuning::SurveyResult result;
    SampleRate rate;
};

/// How far a reading's surroundings have gone with it, cents from its target: the whole rank, or
/// its chest side where the two sides differ. What a pipe stands off by itself is measured from
/// this. 0 where there is no trend.
struct Trends {
    Cents rank{0.0};
    std::optional<Cents> c_side, sharp_side;
    Cents of(int midi) const;
};
/// A rank has gone when its middle is over a cent off and clearly so (3 standard errors of a
/// median); so have the sides of a chest that has them when they differ by as much.
Trends trends_of(const SurveyedStop& survey);
/// The same of readings told otherwise.
struct Stood {
    int midi = 60;  ///< the key's
    Cents deviation;
};
Trends trends_of(const organ::StopRef& stop, std::span<const Stood> readings);

/// Whether a pipe that stands `off` (and so well known) from where the ensemble has it is out of
/// tune: see findings_of.
bool out_of_tune(Hertz right, Cents off, Cents uncertainty,
                 const listening::Partials& partials = {});

/// Everything to be said of one stop. A pipe is out of tune when it stands outside its tolerance,
/// clearly so (2 standard deviations), and one of its loud partials beats faster than once in three
/// seconds: slower beats aren't met in music (common practice, no source).
std::vector<Finding> findings_of(const organ::Instrument& instrument, const SurveyedStop& survey,
                                 const organ::Day& day);

}  // namespace rankwright::visit

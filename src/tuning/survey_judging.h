// Inside of a survey's judging: its judgements, in the order in which they are made.
#pragma once

#include "organ/pitch_of_day.h"
#include "tuning/survey.h"

#include <map>
#include <optional>
#include <set>
#include <vector>

namespace rankwright::tuning {

/// The tones of a survey, each at its key.
struct PlacedTones {
    const SurveyPlan& plan;
    SampleRate rate;
    std::vector<HeardTone> tones;
    bool tremulant = false;            ///< was on: no pitch stands, only the places are judged
    std::map<int, organ::Pipe> pipes;  ///< by key
    Placing placing;

    bool at_key(std::size_t tone) const { return placing.tones[tone].key.has_value(); }
    const organ::Pipe& pipe_of(std::size_t tone) const {
        return pipes.at(*placing.tones[tone].key);
    }
    Seconds at(FrameIndex frame) const { return duration(frame - FrameIndex{}, rate); }
};

/// Pipes that sound on under the keys after them, and what they hide.
struct Ciphers {
    struct Cipher {
        int key = 0;
        HeardTone first;
    };
    std::vector<Cipher> all;
    std::set<std::size_t> again;  ///< tones that are a cipher heard once more

    bool at_key(int key) const;
    /// Whether a pipe sounds that wasn't asked for.
    bool sound(FrameIndex when) const;
    /// What a cipher's partials cover, as its own octaves, can't be heard while it sounds.
    bool cover(Hertz pitch, FrameIndex when) const;
    bool hide_speech(const HeardTone& tone) const;
    /// Whether the tone is at a key, and no cipher heard once more.
    bool leave(const PlacedTones& placed, std::size_t tone) const {
        return placed.at_key(tone) && !again.contains(tone);
    }
};

struct SurveyReadings {
    std::vector<SurveyReading> readings;  ///< in the order of play
    std::set<int> hidden;                 ///< keys that sounded and weren't read for a cipher
};

struct UnheardKeys {
    std::vector<SurveyFault> missing;
    std::vector<organ::Pipe> hidden, not_played;  ///< as in SurveyResult
};

/// From when on a tremulant was on. What it shakes is marked so in `tones`, and known by its mean
/// pitch alone.
std::optional<FrameIndex> find_tremulant(std::vector<HeardTone>& tones, SampleRate rate);

PlacedTones put_in_place(const SurveyPlan& plan, std::vector<HeardTone> tones, SampleRate rate,
                         bool tremulant);

Ciphers find_ciphers(const PlacedTones& placed);

/// A of the day as the pipes tell it; empty when they don't.
std::optional<organ::PitchOfDay> find_pitch(const PlacedTones& placed, const Ciphers& ciphers);

SurveyReadings make_readings(const PlacedTones& placed, const Ciphers& ciphers,
                             const organ::Day& day);

/// Keys of the play that weren't heard.
UnheardKeys find_unheard(const PlacedTones& placed, const Ciphers& ciphers,
                         const SurveyReadings& read);

/// Pipes that sound another natural tone than their own.
std::vector<SurveyFault> find_slips(const std::vector<SurveyReading>& readings,
                                    const Ciphers& ciphers);

std::vector<SurveyFault> find_slow_speech(const std::vector<SurveyReading>& readings,
                                          const Ciphers& ciphers);

/// Tones that no key explains.
std::vector<SurveyFault> find_strange_tones(const PlacedTones& placed, const Ciphers& ciphers);

}  // namespace rankwright::tuning

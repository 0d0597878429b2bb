// The third tuning job: one key of a mixture, pipe by pipe with the others muted, or heard whole.
#pragma once

#include "core/units.h"
#include "listening/hearing.h"
#include "listening/mixture/mixture.h"
#include "organ/pipe.h"
#include "tuning/single_pipe.h"

#include <cstddef>
#include <optional>
#include <vector>

namespace rankwright::tuning {

/// A pipe of another key, and the pitch by which it would be recognised; row 0: all its pipes
/// together.
struct OtherKeyPipe {
    PipeId pipe;
    Hertz pitch;
};

/// The pitch of which all these are multiples, each given beside the unison: what several pipes of
/// a key may be heard as.
double common_pitch(const std::vector<double>& ratios);

/// One key of a mixture as it should be.
struct KeyExpectation {
    std::vector<organ::Pipe> pipes;  ///< by row, as they are muted
    std::vector<Hertz> targets;      ///< of each
    std::vector<Cents> tolerances;   ///< of each
    std::size_t wanted = 0;          ///< the one that isn't muted
    bool none_muted = false;         ///< all should sound
    std::vector<OtherKeyPipe> others;
    std::optional<Hertz> reference;  ///< one sounds beside them
};

/// What the last hearing of the whole key says of one pipe. Levels are relative to the loudest.
struct KeyPipeState {
    listening::Presence presence = listening::Presence::cannot_tell;
    std::optional<Cents> deviation;    ///< from its target, positive = sharp
    std::optional<Cents> uncertainty;  ///< standard
    std::optional<Decibels> level;
    std::optional<listening::Untold> untold;  ///< why it can't be told whether it sounds
    std::vector<std::size_t> not_told_from;   ///< pipes of the key that it may be, or hide behind
    bool hidden_by_reference = false;
    /// None muted: another row of the same pitch; which of the two stands here isn't heard.
    std::optional<std::size_t> twin;
    std::optional<Cents> stray;  ///< a tone stands so far from pure, perhaps this pipe
};

struct MixtureKeyState {
    enum class Sounds {
        unknown,     ///< nothing, or nothing that can be named
        right,       ///< the wanted pipe; all of them where none is muted
        wrong_pipe,  ///< another pipe of this key: `other`
        other_key,   ///< a pipe of another key: `other`
        several,     ///< others of this key too, hardly softer: mutes are missing
    };
    Sounds sounds = Sounds::unknown;
    std::optional<PipeId> other;
    /// The whole key was heard since this pipe is wanted, and no other pipe sounds that should not.
    bool confirmed = false;
    std::vector<KeyPipeState> pipes;  ///< as expected
    std::vector<std::size_t> leaks;   ///< muted ones that are heard, the loudest first
    /// None muted: those outside their tolerance, and so heard twice, worst first; each one's twin
    /// after it, which it may be instead.
    std::vector<std::size_t> suspects;
    /// None muted: those that aren't heard, though they should be.
    std::vector<std::size_t> missing;
};

/// Names the pipe that sounds, and knows its neighbours. Belongs to the listening thread.
class MixtureKey {
  public:
    static constexpr Seconds kSpan{2.4};  ///< that a hearing of the whole key rests on

    /// Begins with another pipe or key, or takes changed targets.
    void expect(KeyExpectation expectation);
    /// At a time of the stream: what the ear for one pipe hears, and what the job made of it.
    void hear(Seconds at, const listening::Hearing& hearing, const PipeState& single);
    /// The same where a reference sounds beside the pipe.
    void hear_beside_reference(Seconds at, const PipeState& pipe);

    /// A hearing of the last `kSpan` is due. At most one is out at a time.
    struct Question {
        int id = 0;
        listening::MixtureRequest request;
    };
    std::optional<Question> ask();
    /// Its answer; one that belongs to an earlier expectation is let fall. Empty: nothing heard.
    void answer(int id, std::optional<listening::MixtureReading> reading);

    const MixtureKeyState& state() const { return state_; }
    const std::optional<KeyExpectation>& expectation() const { return expectation_; }
    /// The wanted pipe as it may be shown: settled only once it is confirmed that no other pipe
    /// sounds; read from the whole where a leak hides it from the ear for one.
    PipeState shown(const PipeState& single) const;

  private:
    void hear_level(Seconds at, Decibels rms);
    void name_by_pitch(Hertz heard);
    void judge_whole();
    void judge_none_muted();
    void keep_twins(listening::MixtureReading& reading) const;
    void add_twins_of_suspects();
    bool as_heard_before(std::size_t pipe) const;
    bool near(std::size_t pipe, Hertz heard, Cents within) const;
    bool common_fundamental(Hertz heard) const;

    std::optional<KeyExpectation> expectation_;
    MixtureKeyState state_;
    std::optional<listening::MixtureRequest::Heard> heard_;  ///< by the ear for one pipe
    std::vector<std::size_t> asked_;                         ///< index of each pipe of the request
    std::vector<KeyPipeState> before_;  ///< none muted: as the last answer but this had them
    int answers_ = 0;                   ///< since the key is expected
    Seconds at_{0.0};
    Seconds undisturbed_since_{0.0};  ///< the sound has stood since then
    Seconds silent_until_{0.0};
    Seconds level_at_{0.0};
    Decibels quietest_{0.0};  ///< the sound has been lately
    bool loud_ = false;       ///< something sounds, by its level
    bool stood_ = false;      ///< while the question was asked that is out, or was last
    std::optional<Seconds> next_ask_;
    bool out_ = false;     ///< a question is out
    bool sounds_ = false;  ///< something does
    int id_ = 0;
    /// The last hearing of the whole still says what sounds: the ear for one pipe names the same
    /// pipe as it did then.
    bool whole_holds_ = false;
    std::optional<std::size_t> named_;  ///< pipe of this key, by the ear for one
};

}  // namespace rankwright::tuning

// The work at a survey: gathers what the helper plays, has it judged beside the live work, and
// keeps what is found.
#pragma once

#include "app/kept_sound.h"
#include "capture/source.h"
#include "core/aside.h"
#include "listening/hearing.h"
#include "tuning/survey.h"
#include "visit/findings.h"
#include "visit/run.h"
#include "visit/survey_keeper.h"

#include <map>
#include <memory>
#include <optional>
#include <vector>

namespace rankwright::app {

/// Belongs to the listening thread. The run must outlive it. Each tone that has ended is judged
/// with all before it, on a thread of its own where sound comes by the clock; each reading is kept
/// as soon as it is judged. When every key was heard, or the technician says so, the whole sound is
/// heard once more as a recording is, and faults and proposals are kept.
class SurveyWork {
  public:
    enum class Stage { playing, working_out, done };
    /// How each pipe stood at an earlier visit.
    using LastTime = std::map<PipeId, visit::KeptReading>;

    /// With `at_once` everything is judged before `hear` returns.
    SurveyWork(visit::Run& run, LastTime last_time, bool at_once);

    /// After the run's stop, air or pitch may have changed.
    void expect();
    void hear(const capture::CaptureBlock& block, const listening::Hearing& hearing);
    /// Takes what was judged meanwhile; `hear` does so too, but sound may have ended.
    void look_for_answer();
    /// The play is over; once it is, on to the next stop, where the run has one.
    void next();
    /// The play goes on after all.
    void go_on();
    /// The work rests here: what is known is kept.
    void rest();

    /// The key that sounds, or the one heard last.
    struct Latest {
        organ::Pipe pipe;
        Cents deviation;                   ///< from its target, as A is known by now
        std::optional<Cents> uncertainty;  ///< standard; empty: only near
        bool sounding = false;
    };
    Stage stage() const { return stage_; }
    const std::optional<Latest>& latest() const { return latest_; }
    const tuning::SurveyResult& result() const { return known_.result; }
    const std::vector<visit::Finding>& findings() const { return findings_; }
    const LastTime& last_time() const { return last_time_; }
    /// From its target, each pipe that was heard: in this play, or in one of this visit that was
    /// broken off.
    std::map<PipeId, Cents> deviations() const;

  private:
    struct Question {
        int number = 0;
        tuning::SurveyPlan plan;
        organ::StopRef stop;
        std::vector<tuning::HeardTone> tones;  ///< all, or those before `sound`
        SampleRate rate;
        int channels = 0;
        std::vector<float> sound;  ///< the whole, to be heard once more; empty: not yet
        bool is_last = false;
    };
    struct Answer {
        int number = 0;
        visit::SurveyedStop survey;
        std::vector<visit::Finding> findings;
        bool is_last = false;
    };
    static Answer judge(const Question& question);

    void begin(SampleRate rate);
    organ::Day given_day() const;
    Question question(bool is_last);
    void add_tones(Question& question) const;
    void ask();
    void ask_last();
    void put(Question asked);
    void take(Answer answer);
    /// Keeps what is known, then has the sound heard once more.
    void finish();
    /// What is known now is final.
    void finish_at_once();
    void find_targets();
    void note_latest(bool silent);

    visit::Run& run_;
    LastTime last_time_;
    std::unique_ptr<Aside<Question, Answer>> aside_;  ///< null: at once
    organ::StopRef stop_;
    std::optional<Hertz> given_pitch_;  ///< A, as it was before this play
    std::optional<Hertz> taken_pitch_;  ///< A as this play told it
    tuning::Survey survey_;
    KeptSound sound_;
    std::vector<tuning::HeardTone> earlier_;  ///< of a play that was broken off, before frame 0
    std::optional<visit::SurveyKeeper> keeper_;
    visit::SurveyedStop known_;
    std::vector<visit::Finding> findings_;
    std::vector<Hertz> targets_;  ///< of the plan's pipes, as A is known by now
    Cents stands_{0.0};           ///< the whole rank from these
    std::optional<Latest> latest_;
    Stage stage_ = Stage::playing;
    int asked_ = 0;           ///< number of the last question: answers to others come too late
    bool busy_ = false;       ///< it isn't answered yet
    std::size_t judged_ = 0;  ///< tones in the last question
    Seconds silent_{0.0};
};

}  // namespace rankwright::app

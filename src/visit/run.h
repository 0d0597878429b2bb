// The run through one stop: which pipe is next, and what was found at each.
#pragma once

#include "organ/instrument.h"
#include "organ/intervals.h"
#include "organ/reference.h"
#include "organ/target.h"
#include "tuning/against_reference.h"
#include "tuning/single_pipe.h"
#include "visit/call.h"
#include "visit/cooling.h"
#include "visit/keeper.h"
#include "visit/key_follower.h"
#include "visit/pitch_today.h"
#include "visit/record.h"
#include "visit/unanswered.h"
#include "visit/unheard.h"
#include "visit/work_list.h"

#include <cstddef>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace rankwright::visit {

enum class Job {
    to_target,       ///< each pipe alone to its computed pitch
    from_reference,  ///< by beats, from the pipe that the instrument file names
    bearings,        ///< the temperament octave: its A to target, then note from note, by beats
    mixture,         ///< each pipe of each key, the others muted, pure to the unison: MixtureRun
    survey,          ///< the helper plays the rank through, nothing is tuned: SurveyKeeper
};

struct RunOptions {
    Job job = Job::to_target;
    /// Pipes that stand at another temperature than the reference, and reeds on another day than
    /// the organ's own, are put where they will agree at home: organ::compensation.
    bool compensate = false;
    /// When a stop is done the run goes on to the next of these, in the order in which stops are
    /// tuned; empty: it stays at the one in hand.
    std::vector<StopId> stops{};
    /// Only the work list's pipes are gone to, over all stops, in the order for the feet, and round
    /// again until it is empty: a mixture's as by Job::mixture, and only those where that is the
    /// job.
    bool only_listed = false;
    ListHistory history{};  ///< for the work list
};

/// What is known of one pipe of the run.
struct PipeOutcome {
    std::optional<Cents> first;      ///< the first steady reading, before it was touched
    std::optional<Cents> last;       ///< the latest steady reading
    std::optional<Cents> reference;  ///< how far its reference stood from its own target
    bool settled = false;            ///< it stood inside its tolerance when it was left
    bool open = false;               ///< it was left before it had settled
    bool again = false;              ///< it is to be heard once more when it has cooled
};

/// A moment, as the caller's clocks tell it.
struct Instant {
    Seconds at{0.0};  ///< of the stream; never runs backwards
    WallTime wall;
};

/// Goes through a stop in the order in which its pipes stand, and gives tuning its expectations.
/// Belongs to the listening thread. The instrument must outlive it.
class Run {
  public:
    /// `stop` must have pipes; for the bearings it is that which the instrument names for them.
    /// `record` is that of the visit so far: the stop is taken up where it was left.
    Run(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
        const RunOptions& options = {}, Record record = {});

    /// Before anything that happens at that moment is told.
    void tell_time(Instant now) { now_ = now; }
    /// Notes the day's air and pitch as they were given at the start. Where no pitch was, the
    /// visit's own goes on if it was noted within the last two hours.
    void note_day();
    const Record& record() const { return record_; }
    /// Makes an entry of now; returns its serial.
    std::uint64_t note(BookMatter matter) { return record_.add(now_.wall, std::move(matter)); }
    /// Entries for the tuning book, made since the last call.
    std::vector<BookEntry> take_owed() { return record_.take_owed(); }
    /// The book has everything up to and including that entry on disk.
    void acknowledge(std::uint64_t serial) { record_.acknowledge(serial); }

    /// In walking order; for the bearings in the order in which they are set.
    const std::vector<organ::Pipe>& pipes() const { return pipes_; }
    /// Indices into `pipes` as they stand on the chest, from the left.
    const std::vector<std::size_t>& standing() const { return standing_; }
    const std::vector<PipeOutcome>& outcomes() const { return outcomes_; }
    std::size_t current() const { return current_; }
    /// Which pipes `next` goes to, one after the other, as things stand.
    std::vector<std::size_t> ahead() const;
    const organ::Pipe& pipe() const { return pipes_[current_]; }
    const organ::Day& day() const { return day_; }
    const PitchToday& pitch_today() const { return pitch_; }
    organ::StopRef stop() const { return stop_; }
    const organ::Instrument& instrument() const { return instrument_; }
    /// The work list as it stands.
    const WorkList& list() const { return listed().list; }
    bool only_listed() const { return options_.only_listed; }
    /// The pipe is on it with work left, or the run goes to every pipe.
    bool wants(const PipeId& pipe) const;
    /// What will be called next, at most so many: over all stops where only listed pipes are gone
    /// to, else of the stop in hand.
    std::vector<Call> calls_ahead(std::size_t most) const;
    /// Where the other chest side begins in `standing`; 0 = no sides.
    std::size_t other_side() const { return other_side_; }
    std::size_t settled_count() const;
    std::size_t open_count() const;
    /// Tuned, but to be heard once more when they have cooled: after the last pipe the run goes on
    /// to these.
    std::size_t again_count() const;
    /// The current pipe was handled so much that it must be heard again when it has cooled, or its
    /// wire has crept to where it stays.
    bool is_warm() const;
    /// Nothing is left to do but to hear pipes again that still cool: for so long.
    struct Wait {
        Seconds left;
        bool wire = false;  ///< until a reed's wire has crept to where it stays; else to cool
    };
    std::optional<Wait> wait() const;
    /// The pipe that would be the current one's reference, but is noted as dead, and so isn't
    /// listened for: the pipe is heard alone. Empty otherwise.
    std::optional<organ::Pipe> dead_reference() const;
    /// The pipe that was left before it had settled, for ten seconds after; empty otherwise.
    struct LeftOpen {
        std::string note;
        bool waited_for = false;  ///< it will be called again before what is tuned from it
    };
    std::optional<LeftOpen> left_open() const;

    /// Takes another stop in hand (after the bearings: for itself, from its reference); what was
    /// found at the ones before, and where one stood, is there again when they are taken up again.
    /// It must have pipes.
    void take(organ::StopRef stop);
    /// The next of the stops to be worked at where something is left to do.
    std::optional<organ::StopRef> next_stop() const;
    /// Moves on or back, past the pipes out of reach; at either end it stays, and says false. A
    /// pipe that is left before it has settled stays open; one that is gone back to is open again
    /// as soon as it is heard.
    bool next();
    bool back();
    /// Since `next` was said at the last pipe nothing is left to go to, nor to wait for; until a
    /// pipe is worked at again, or another is gone to.
    bool is_over() const;
    /// What stays as it is then: the work list's pipes that this run would go to and that weren't
    /// done, as the list orders them, those out of reach among them.
    std::vector<ListedPipe> left_over() const;
    /// Goes to a key; false when the stop has no pipe there.
    bool go_to(int key);
    bool go_to(const PipeId& pipe);  ///< the same by the pipe's own name
    /// Goes to a pipe of any stop, taking that in hand; false when the instrument doesn't have it.
    bool go_to_any(const PipeId& pipe);
    /// The current pipe can't be reached, or can again.
    void set_out_of_reach(bool out);
    /// Notes what is wrong with the current pipe, in trade words.
    void note_fault(const std::string& fault, const std::string& words);
    /// The work rests here: what is known of the current pipe is kept.
    void rest() { leave_pipe(); }
    /// Takes back what was noted or kept last, and goes to that pipe where it is of this stop.
    /// False when nothing is left to undo.
    bool undo();

    /// The current pipe without its reference, or with it again; until the run moves on (at a
    /// mixture, where it begins without: until it is asked for again). Nothing happens where no
    /// reference is used.
    void hear_alone();
    bool hears_alone() const { return alone_; }

    void set_temperature(Celsius air, std::optional<double> humidity = std::nullopt);
    /// A of today as typed; empty: as measured, or carried from the organ's own pitch by the
    /// thermometer.
    void set_pitch(std::optional<Hertz> a);
    /// A of today as a whole rank told it. It stands as a typed one does, and is noted as measured.
    void take_measured_pitch(Hertz a);
    /// Takes the pipe now sounding as right: A of today is what makes its deviation nought.
    void take_pitch_of_day(Cents deviation);

    /// Where one of the pipes should stand today, compensation included.
    Hertz target_of(const organ::Pipe& pipe) const;
    /// How the pipe in hand is worked at: the job that was asked for, but for a mixture's pipe that
    /// stands on the list.
    Job job() const;
    /// Of the list it goes to mixtures only.
    bool only_mixtures() const { return options_.job == Job::mixture; }
    Call call() const;
    /// The current pipe for itself.
    tuning::Expectation expectation() const;
    /// The current pipe and its reference; empty when it is to be tuned by its target: by the
    /// options, or because the file names no reference for it.
    std::optional<tuning::PairedExpectation> paired_expectation() const;
    /// By how much the current pipe's target is higher while it is warm from the hand: what it, or
    /// others of its size, fell by when they were left so before. Nought for a pipe that hasn't
    /// been moved since it was taken up. It is no nearer to be brought than that is known, since it
    /// will be heard again.
    Cooling::Warmth warmth() const;
    /// Why the current target isn't the plain one; empty when it is.
    std::optional<organ::Compensation> compensation() const;

    /// Notes how the current pipe stands and keeps what is worth it. When it is settled and the
    /// next pipe's key sounds, moves on; when another key of the stop goes on sounding, follows
    /// there. True when another pipe or another target is wanted now.
    bool follow(const tuning::PipeState& state);
    /// The same by beats. The references heard on the way tell today's A, once they agree on it to
    /// a cent, and its drift when they are heard again; a pitch that was typed or taken stands, but
    /// for the drift.
    bool follow(const tuning::PairedState& state);
    /// The screen has asked for the pipe in hand to be moved for a while, and what is heard hasn't
    /// changed: if it was moved, it isn't what is heard.
    bool is_unanswered() const { return told_since_ && unanswered_.is_long(now_.at); }
    /// Of the pipe in hand.
    const Unheard& unheard() const { return unheard_; }
    /// What sounds is still the pipe that was in hand before: the helper hasn't moved on yet, or
    /// the room sounds on. Nothing of it is shown or kept as the pipe in hand.
    bool hears_pipe_before() const { return hears_before_; }

  private:
    bool follow(const tuning::PipeState& state, const std::optional<KeptReading>& figure);
    void follow_silence(tuning::Stage stage);
    void find_references();
    void find_pipes();
    void find_standing();
    void recall_outcomes();
    void turn_to(std::size_t pipe);
    void leave_pipe();
    Seconds cools_for(const PipeId& pipe) const;
    bool has_cooled(const PipeId& pipe) const;
    /// Tried enough: the run doesn't go there by itself any more.
    bool is_given_up(const PipeId& pipe) const;
    bool to_do(const organ::Pipe& pipe, const PipeOutcome& outcome) const;
    bool goes_to(const PipeId& pipe) const;
    const std::map<PipeId, PipeId>& put_off() const;
    bool waits_for_reference(const PipeId& pipe) const { return put_off().count(pipe) != 0; }
    bool is_waited_for(const PipeId& pipe) const;
    bool was_tried_too_little(const PipeId& pipe) const;
    std::optional<organ::StopRef> stop_waited_for() const;
    bool is_of_mixture(const PipeId& pipe) const;
    bool is_of_this_job(const PipeId& pipe) const;
    bool comes_back_to(const PipeId& pipe, const PipeOutcome& outcome) const;
    void hear_dependents_again();
    std::optional<Hertz> stood_when(std::uint64_t other_kept) const;
    struct Listed {
        WorkList list;
        std::vector<organ::Pipe> feet;  ///< of this job, with the pipe in hand, as one walks
        std::size_t entries = 0;        ///< of the record when it was made
        std::optional<PipeId> at;       ///< the pipe in hand then
    };
    const Listed& listed() const;
    std::vector<organ::Pipe> listed_ahead() const;
    bool next_listed();
    bool next_of_stops();
    bool anything_cools() const;
    void begin_at_list();
    bool anything_ahead() const;
    bool ends_stop_in_silence(const tuning::PipeState& state);
    PipeOutcome recalled(const PipeId& pipe) const;
    ListState state_on_leaving() const;
    void learn_cooling();
    bool was_left_alone() const;
    Hertz home_of(const organ::Pipe& pipe) const;
    bool only_cools(const KeptReading& figure) const;
    void note_handling(Seconds hand, Seconds touched_last, bool warm);
    void follow_hand(int touches_before, bool moves);
    Cents doubt_while_warm() const;
    void follow_advice(const tuning::PipeState& state);
    bool was_touched() const;
    bool at_work() const { return keeper_.sure_touches() > 0 || hand_ > Seconds{0.0}; }
    bool end_wait();
    void forget_hand();
    bool follow_key(const tuning::PipeState& state);
    bool is_of_pipe_before(const tuning::PipeState& state);
    std::optional<KeptReading> figure_of(const tuning::PipeState& state) const;
    void note_pitch();
    std::optional<organ::Reference> named_reference_of(const organ::Pipe& pipe) const;
    std::optional<organ::Reference> reference_of(const organ::Pipe& pipe) const;
    tuning::ReferencePitch heard_before(const organ::Pipe& reference) const;
    std::optional<Hertz> seen_before(const PipeId& reference) const;
    struct Copied {
        Cents by{0.0};
        Cents doubt{0.0};  ///< standard
    };
    Copied copied_by(const organ::Pipe& pipe) const;
    bool is_dead(const PipeId& pipe) const;
    Celsius air_at_pipe() const;
    void learn_pitch(const tuning::PairedState& state);
    void hold_pitch();
    void recall_pitch();

    const organ::Instrument& instrument_;
    organ::StopRef stop_;
    organ::Day day_;
    RunOptions options_;
    PitchToday pitch_;
    struct StopToWorkAt {
        organ::StopRef stop;
        std::vector<organ::Pipe> pipes;
    };
    std::vector<StopToWorkAt> to_work_at_;      ///< RunOptions::stops, as they are tuned
    std::vector<organ::BearingStep> bearings_;  ///< one for each pipe, or none
    std::vector<organ::Pipe> pipes_;
    std::vector<std::size_t> standing_;
    std::vector<PipeOutcome> outcomes_;
    std::size_t other_side_ = 0;
    std::size_t current_ = 0;
    std::map<StopId, int> left_;  ///< the key at which a stop stood when another was taken
    /// What the hand had done to a pipe when it was left.
    struct Handling {
        Seconds stands_from{0.0};  ///< cool, or crept, by then, by the stream's time
        Seconds hand{0.0};         ///< was at it, since it was last cool; until that was learned
    };
    std::optional<Seconds> told_since_;  ///< the screen says to move the pipe in hand
    bool was_told_ = false;              ///< or said so since it was taken up
    Unanswered unanswered_;              ///< and what is heard stays where it is
    Unheard unheard_;
    Seconds hand_{0.0};                     ///< was at the pipe in hand …
    std::optional<Seconds> touched_last_;   ///< … and moved it last
    std::optional<KeptReading> left_warm_;  ///< how it was left then; it was taken up cool
    std::map<PipeId, Handling> handled_;
    Cooling cooling_;
    bool alone_ = false;  ///< the current pipe is heard without its reference

    Instant now_;
    Record record_;
    Keeper keeper_;
    KeyFollower follower_;
    struct Own {
        PipeId pipe;
        int tone = 0;
        std::optional<Hertz> pitch{};
        std::optional<Seconds> silent_since{};
        bool ended = false;  ///< it was silent for a moment
    };
    std::optional<Own> own_;  ///< what was a pipe's own tone last
    bool hears_before_ = false;
    struct Left {
        organ::Pipe pipe;
        Seconds at;
    };
    std::optional<Left> left_open_;
    std::optional<Hertz> noted_pitch_;
    mutable Listed listed_;
    std::map<PipeId, PipeId> tuned_from_;  ///< by beats: a pipe and its reference
    struct PutOff {
        std::map<PipeId, PipeId> pipes;  ///< and the reference that each waits for
        std::size_t entries = 0;         ///< of the record when it was made
        std::optional<StopId> at;        ///< the stop in hand then
    };
    mutable PutOff put_off_;
    std::optional<Seconds> stop_taken_;  ///< when another stop was taken in hand
    std::vector<PipeId> trail_;          ///< the pipes from which `next` went on along the list
    std::optional<Seconds> silent_since_;
    Cents warm_{0.0};     ///< warmth, as it was told to tuning
    bool waits_ = false;  ///< nothing was left to do but to wait, as seen last
    Seconds in_hand_since_{0.0};
    std::set<PipeId> given_up_;    ///< noted as dead, tried, and still silent: not gone to again
    std::map<PipeId, int> tries_;  ///< at pipes that were left open, in this run
    /// The pipe in hand was worked at and left, and nothing came after it: what sounds on belongs
    /// to no pipe's work until it is touched or played again.
    bool sounds_on_ = false;
    bool over_ = false;      ///< `next` found nothing more
    bool was_done_ = false;  ///< the stop in hand, when it was taken
};

}  // namespace rankwright::visit

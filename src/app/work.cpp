#include "app/work.h"

#include "app/snapshot.h"
#include "core/overloaded.h"

#include <algorithm>
#include <chrono>
#include <utility>

namespace rankwright::app {

namespace {
bool stands(const tuning::PipeState& state) {
    return state.stage == tuning::Stage::reading || state.stage == tuning::Stage::settled;
}
}  // namespace

Work::Work(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
           const visit::RunOptions& options, Console console, Book book, visit::Record record,
           MixtureEar::When mixtures, SurveyWork::LastTime last_time)
    : console_(std::move(console)),
      book_(std::move(book)),
      stops_(stop_choices(instrument)),
      run_(instrument, stop, std::move(day), options, std::move(record)) {
    tell_time(Seconds{0.0});
    new_visit_ = !run_.record().latest() && !run_.record().latest_surveyed();
    run_.note_day();
    if (options.job == visit::Job::mixture || options.only_listed)
        mixture_work_.emplace(run_, mixtures);
    if (options.job == visit::Job::survey)
        survey_.emplace(run_, std::move(last_time), mixtures == MixtureEar::When::at_once);
    expect_current();
}

void Work::hear(const capture::CaptureBlock& block) {
    const bool changed = !listener_ || block.stream != block_.stream || block.rate != block_.rate ||
                         block.channels != block_.channels;
    block_ = block;
    if (changed) {
        listener_ = std::make_unique<listening::PipeListener>(
            listening::PipeListener::Parameters{block.rate, static_cast<int>(block.channels)});
        pair_listener_ = std::make_unique<listening::PairListener>(
            listening::PairListener::Parameters{block.rate, static_cast<int>(block.channels)});
        expect_current();
    }
    const std::span<const float> samples{block.samples.data(),
                                         std::size_t{block.frames} * block.channels};
    listener_->process(block.first, samples);
    if (mixture_work_) mixture_work_->keep(block);
    tell_time(duration(block.frames, block.rate));
    if (survey_) {
        survey_->hear(block, listener_->hearing());
        write_book();
        return;
    }
    bool moved_on = false;
    MixtureWork* const mixture = mixture_in_hand();
    if (paired_ && !run_.hears_alone()) {
        pair_listener_->process(block.first, samples);
        paired_job_.hear(pair_listener_->hearing(), listener_->hearing());
        moved_on =
            mixture ? mixture->follow(at_, paired_job_.state()) : run_.follow(paired_job_.state());
    } else {
        job_.hear(listener_->hearing());
        if (paired_ && stands(job_.state())) paired_job_.heard_alone(*listener_->hearing().reading);
        moved_on = mixture ? mixture->follow(at_, listener_->hearing(), job_.state())
                           : run_.follow(job_.state());
    }
    if (moved_on) expect_current();
    write_book();
}

// Any key of the rank may come.
void Work::expect_play() {
    survey_->expect();
    job_.expect(run_.expectation());
    if (listener_) listener_->expect(std::nullopt);
    std::vector<organ::Pipe> pipes = run_.pipes();
    std::sort(pipes.begin(), pipes.end(),
              [](const auto& one, const auto& other) { return one.key < other.key; });
    const Called wanted{pipes.front().id, false};
    if (!console_.simulated() || called_ == wanted) return;
    called_ = wanted;
    console_.play(pipes);
}

void Work::expect_current() {
    if (survey_) return expect_play();
    auto paired = run_.paired_expectation();
    paired_ = paired.has_value();
    std::optional<organ::Pipe> reference;
    if (paired_) paired_job_.expect(std::move(*paired));
    if (paired_ && !run_.hears_alone()) {
        reference = paired_job_.expectation()->reference.pipe;
        if (listener_) listener_->expect(paired_job_.expectation()->reference_target);
        if (pair_listener_) pair_listener_->expect(paired_job_.awaited());
    } else {
        job_.expect(paired_ ? paired_job_.alone() : run_.expectation());
        if (listener_) listener_->expect(job_.expectation()->target);
    }
    if (MixtureWork* const mixture = mixture_in_hand())
        mixture->expect(reference ? std::optional{paired_job_.awaited().reference} : std::nullopt);
    const Called wanted{run_.pipe().id, !reference.has_value()};
    if (console_.simulated() && called_ != wanted) {
        called_ = wanted;
        console_.call(run_.pipe(), reference);
    }
}

MixtureWork* Work::mixture_in_hand() {
    return mixture_work_ && run_.job() == visit::Job::mixture ? &*mixture_work_ : nullptr;
}

void Work::obey(const visit::Command& command) {
    MixtureWork* const mixture = mixture_in_hand();
    const Overloaded visitor{
        [&](const visit::GoNext&) {
            if (survey_) return survey_->next();
            mixture ? mixture->order().next() : run_.next();
        },
        [&](const visit::GoBack&) {
            if (survey_) return survey_->go_on();
            mixture ? mixture->order().back() : run_.back();
        },
        [&](const visit::GoToKey& go) {
            if (survey_) return;  // the play tells which
            // Of a mixture's key already in hand it is the pipe in hand that is meant.
            if (mixture && go.key == run_.pipe().key)
                run_.go_to(PipeId{run_.pipe().id});
            else
                run_.go_to(go.key);
        },
        [&](const visit::MoveDevice& move) {
            if (console_.move_device) console_.move_device(run_.pipe().id, move.by);
        },
        [&](const visit::SetTemperature& set) {
            run_.set_temperature(set.to, set.humidity);
            if (console_.set_temperature) console_.set_temperature(set.to);
        },
        [&](const visit::SetPitch& set) {
            run_.set_pitch(set.to > Hertz{0.0} ? std::optional{set.to} : std::nullopt);
        },
        [&](const visit::TakePitchOfDay&) {
            // By beats it is the reference that stands right.
            const auto off = paired_ && !run_.hears_alone()
                                 ? paired_job_.state().reference_deviation
                                 : job_.state().deviation;
            if (off) run_.take_pitch_of_day(*off);
        },
        [&](const visit::TakeStop& take) {
            const auto known = [&](const overlay::StopChoice& stop) {
                return stop.id == take.stop;
            };
            if (std::any_of(stops_.begin(), stops_.end(), known))
                run_.take(organ::stop_by_id(run_.instrument(), take.stop.division, take.stop.stop));
        },
        [&](const visit::HearAlone&) { run_.hear_alone(); },
        [&](const visit::HearWhole&) {
            if (mixture) mixture->order().hear_whole();
        },
        [&](const visit::MoveMutes& move) {
            if (mixture && console_.place_mutes)
                console_.place_mutes(mixture->order().mutes(), move.leak);
        },
        [&](const visit::MarkOutOfReach&) {
            const bool reached = !run_.record().of(run_.pipe().id).out_of_reach;
            run_.set_out_of_reach(reached);
            if (reached && !survey_) mixture ? mixture->order().next() : run_.next();
        },
        [&](const visit::NoteFault& noted) { run_.note_fault(noted.fault, noted.words); },
        [&](const visit::GoToPipe& go) { run_.go_to_any(go.pipe); },
        [&](const visit::Note& said) { run_.note(said.matter); },
        [&](const visit::WritePage&) {},  // whoever has the book does
        [&](const visit::CareForBook&) {},
        [&](const visit::Undo&) { run_.undo(); },
        [&](const visit::EndVisit&) { ends_visit_ = true; },
        [&](const visit::Quit&) { quit_ = true; }};
    tell_time(Seconds{0.0});
    std::visit(visitor, command);
    const bool moved_only = std::holds_alternative<visit::MoveDevice>(command) ||
                            std::holds_alternative<visit::MoveMutes>(command);
    if (!moved_only) expect_current();
    write_book();
}

void Work::rest() {
    tell_time(Seconds{0.0});
    if (survey_) survey_->rest();
    run_.rest();
    write_book();
    if (book_ && ends_visit_) book_.end_visit();
}

void Work::tell_time(Seconds passed) {
    using namespace std::chrono;
    at_ += passed;
    run_.tell_time({at_, time_point_cast<milliseconds>(system_clock::now())});
}

void Work::write_book() {
    if (!book_) return;
    for (visit::BookEntry& entry : run_.take_owed())
        book_.post(std::move(entry));
    run_.acknowledge(book_.acknowledged());
}

overlay::Snapshot Work::snapshot(const capture::SourceStatus& source) {
    if (survey_) {
        survey_->look_for_answer();
        write_book();
    }
    if (book_) run_.acknowledge(book_.acknowledged());
    SnapshotInputs shown{run_, job_, listener_.get(), source, console_.simulated()};
    shown.book = static_cast<bool>(book_);
    if (book_) shown.book_trouble = book_.trouble();
    shown.stops = stops_;
    shown.mixture = mixture_in_hand();
    if (survey_) shown.survey = &*survey_;
    if (paired_ && !run_.hears_alone()) {
        shown.paired = &paired_job_;
        if (pair_listener_) {
            shown.pair = &pair_listener_->hearing();
            shown.meetings = pair_listener_->meeting_frames();
        }
    }
    overlay::Snapshot out = make_snapshot(shown);
    list_view_.fill(out, run_);
    out.ask_checks = new_visit_ && shown.book && !console_.simulated();
    return out;
}

}  // namespace rankwright::app

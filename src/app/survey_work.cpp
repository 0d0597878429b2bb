#include "app/survey_work.h"

#include "tuning/survey_recording.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::app {

namespace {

using tuning::HeardTone;

tuning::SurveyPlan plan_of(const visit::Run& run, const organ::Day& day) {
    std::vector<organ::Pipe> pipes = run.pipes();
    std::sort(pipes.begin(), pipes.end(),
              [](const auto& one, const auto& other) { return one.key < other.key; });
    return {&run.instrument(), std::move(pipes), day};
}

}  // namespace

SurveyWork::SurveyWork(visit::Run& run, LastTime last_time, bool at_once)
    : run_(run),
      last_time_(std::move(last_time)),
      aside_(at_once ? nullptr : std::make_unique<Aside<Question, Answer>>(judge)),
      stop_(run.stop()),
      survey_(tuning::SurveyPlan{}) {
    begin(SampleRate{48000.0});
}

void SurveyWork::begin(SampleRate rate) {
    stop_ = run_.stop();
    given_pitch_ = taken_pitch_ = run_.day().pitch;
    survey_ = tuning::Survey(plan_of(run_, given_day()));
    keeper_.emplace(run_);
    earlier_ = keeper_->recall(rate);
    known_ = {stop_, {}, rate};
    findings_.clear();
    latest_.reset();
    sound_.restart();
    stage_ = Stage::playing;
    ++asked_;
    busy_ = false;
    judged_ = 0;
    silent_ = Seconds{0.0};
    find_targets();
    if (!earlier_.empty()) ask();
}

organ::Day SurveyWork::given_day() const {
    organ::Day day = run_.day();
    day.pitch = given_pitch_;
    return day;
}

void SurveyWork::expect() {
    const organ::StopRef now = run_.stop();
    if (now.stop != stop_.stop || now.division != stop_.division) {
        begin(known_.rate);
        return;
    }
    if (run_.day().pitch != taken_pitch_) given_pitch_ = taken_pitch_ = run_.day().pitch;
    survey_.expect(plan_of(run_, given_day()));
    find_targets();
}

SurveyWork::Answer SurveyWork::judge(const Question& question) {
    std::vector<HeardTone> tones = question.tones;
    if (!question.sound.empty()) {
        const auto heard =
            tuning::tones_of_recording(question.sound, question.rate, question.channels);
        tones.insert(tones.end(), heard.begin(), heard.end());
    }
    Answer answer{
        question.number,
        {question.stop, tuning::judge_survey(question.plan, tones, question.rate), question.rate},
        {},
        question.is_last};
    answer.findings =
        visit::findings_of(*question.plan.instrument, answer.survey, question.plan.day);
    return answer;
}

SurveyWork::Question SurveyWork::question(bool is_last) {
    judged_ = survey_.tones().size();
    return {++asked_, survey_.plan(), stop_, earlier_, known_.rate, sound_.channels(), {}, is_last};
}

void SurveyWork::add_tones(Question& question) const {
    question.tones.insert(question.tones.end(), survey_.tones().begin(), survey_.tones().end());
}

void SurveyWork::ask() {
    Question asked = question(false);
    add_tones(asked);
    put(std::move(asked));
}

void SurveyWork::ask_last() {
    Question asked = question(true);
    asked.sound = sound_.interleaved();
    put(std::move(asked));
}

void SurveyWork::put(Question asked) {
    if (!aside_) {
        take(judge(asked));
        return;
    }
    busy_ = true;
    aside_->ask(std::move(asked));
}

void SurveyWork::look_for_answer() {
    if (!aside_) return;
    if (auto answer = aside_->answer()) take(std::move(*answer));
}

void SurveyWork::take(Answer answer) {
    if (answer.number != asked_) return;
    busy_ = false;
    known_ = std::move(answer.survey);
    findings_ = std::move(answer.findings);
    find_targets();
    if (answer.is_last) {
        keeper_->keep_all(known_, findings_);
        taken_pitch_ = run_.day().pitch;
        stage_ = Stage::done;
    } else {
        keeper_->keep_readings(known_);
    }
    if (known_.result.readings.empty() || (latest_ && latest_->sounding)) return;
    const tuning::SurveyReading& last = known_.result.readings.back();
    latest_ = Latest{last.pipe, last.deviation, last.tone.uncertainty, false};
    run_.go_to(PipeId{last.pipe.id});
}

void SurveyWork::find_targets() {
    organ::Day day = survey_.plan().day;
    if (known_.result.pitch) day.pitch = known_.result.pitch;
    stands_ = day.pitch ? Cents{0.0} : known_.result.from_expected;
    for (const tuning::SurveyFault& fault : known_.result.faults)
        if (fault.kind == tuning::FaultKind::wrong_stop) stands_ = stands_ + fault.interval;
    targets_.clear();
    for (const organ::Pipe& pipe : survey_.plan().pipes)
        targets_.push_back(organ::target(run_.instrument(), pipe, day));
}

// Before it is judged with the others, a tone is taken for the nearest key.
void SurveyWork::note_latest(bool silent) {
    if (latest_) latest_->sounding = false;
    const auto now = survey_.now();
    if (!now || silent) return;
    constexpr Cents kNear{60.0};
    const organ::Pipe* nearest = nullptr;
    Cents least = kNear;
    Cents deviation{0.0};
    for (std::size_t i = 0; i < targets_.size(); ++i) {
        const Cents from = interval(transpose(targets_[i], stands_), now->pitch);
        if (std::abs(from.value()) >= least.value()) continue;
        least = Cents{std::abs(from.value())};
        nearest = &survey_.plan().pipes[i];
        deviation = interval(targets_[i], now->pitch);
    }
    if (nearest == nullptr) return;
    const bool other = !latest_ || latest_->pipe.id != nearest->id;
    latest_ = Latest{*nearest, deviation, now->uncertainty, true};
    if (other && now->uncertainty) run_.go_to(PipeId{nearest->id});
}

void SurveyWork::hear(const capture::CaptureBlock& block, const listening::Hearing& hearing) {
    // Longer pauses say no more, and would only have to be heard again.
    constexpr Seconds kLongestPause{30.0};
    constexpr Seconds kIsOver{2.0};
    if (block.rate != known_.rate || sound_.is_other(block)) {
        // Its frames can't be counted on: as if the play had been broken off.
        if (!survey_.tones().empty()) finish_at_once();
        begin(block.rate);
    }
    const bool silent = hearing.sounding == listening::Sounding::silence;
    silent_ = silent ? silent_ + duration(block.frames, block.rate) : Seconds{0.0};
    sound_.keep(block, silent_ > kLongestPause);
    listening::Hearing placed = hearing;
    placed.now = sound_.place_of(hearing.now);
    placed.tone_began = sound_.place_of(hearing.tone_began);
    if (placed.reading) {
        placed.reading->from = sound_.place_of(hearing.reading->from);
        placed.reading->to = sound_.place_of(hearing.reading->to);
    }
    survey_.hear(placed);
    note_latest(silent);
    look_for_answer();
    const bool more = survey_.tones().size() > judged_;
    if (more && stage_ == Stage::done) stage_ = Stage::playing;
    if (stage_ != Stage::playing || busy_) return;
    if (more)
        ask();
    else if (silent_ > kIsOver && deviations().size() == survey_.plan().pipes.size())
        finish();
}

std::map<PipeId, Cents> SurveyWork::deviations() const {
    std::map<PipeId, Cents> off;
    const bool goes_on = visit::broken_off(run_);
    if (goes_on)
        for (const organ::Pipe& pipe : survey_.plan().pipes)
            if (const auto& before = run_.record().of(pipe.id).survey)
                off.insert_or_assign(pipe.id, before->deviation);
    for (const tuning::SurveyReading& reading : known_.result.readings)
        if (reading.slip == tuning::Slip::none)
            off.insert_or_assign(reading.pipe.id, reading.deviation);
    return off;
}

void SurveyWork::finish() {
    finish_at_once();
    if (stage_ != Stage::done || !sound_.whole()) return;
    stage_ = Stage::working_out;
    ask_last();
}

void SurveyWork::finish_at_once() {
    survey_.finish();
    if (survey_.tones().empty() && earlier_.empty()) return;
    Question asked = question(true);
    add_tones(asked);
    take(judge(asked));
}

void SurveyWork::next() {
    if (stage_ == Stage::playing) {
        finish();
    } else if (const auto stop = run_.next_stop(); stop && stage_ == Stage::done) {
        run_.take(*stop);
        expect();
    }
}

void SurveyWork::go_on() {
    if (stage_ == Stage::done) stage_ = Stage::playing;
}

void SurveyWork::rest() {
    if (stage_ == Stage::playing || survey_.tones().size() > judged_) finish_at_once();
}

}  // namespace rankwright::app

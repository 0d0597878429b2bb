#include "whole_visit.h"

#include "core/text.h"
#include "organ/reference.h"
#include "organ/target.h"
#include "storage/book_json.h"
#include "visit/faults.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <utility>

namespace rankwright::app {

namespace {

constexpr Seconds kCreepsFor{1.6};  // a pipe that is slow of speech
constexpr Seconds kTakesAKey{2.6};  // when the helper plays a rank through: at most

simulator::Chamber::Parameters chamber_of(const organ::Instrument& instrument, std::uint64_t seed) {
    simulator::Chamber::Parameters parameters;
    parameters.rate = SampleRate{24000.0};
    parameters.seed = seed;
    parameters.temperature = instrument.at;
    return parameters;
}

bool contains(const std::string& text, const std::string& word) {
    return text.find(word) != std::string::npos;
}

}  // namespace

// What the screen promises is half a cent or a beat in twenty seconds (common practice, no source);
// a pipe wanders by 0.3 cent by itself here, and so does its reference.
bool PipeStory::right() const { return std::abs(off.value()) <= tolerance.value() + 0.6; }

WholeVisit::WholeVisit(const organ::Instrument& instrument, Plan plan)
    : instrument_(instrument),
      plan_(std::move(plan)),
      chamber_(simulate_chamber(instrument, chamber_of(instrument, plan_.seed), false)),
      technician_(plan_.seed + 1) {
    visit::Record record;
    for (const StopId& id : plan_.stops)
        for (const organ::Pipe& pipe :
             organ::pipes(organ::stop_by_id(instrument_, id.division, id.stop)))
            if (pipe.key % plan_.every == 0)
                stories_[pipe.id].pipe = pipe;
            else
                record.add({}, visit::OutOfReach{pipe.id, true});
    entries_ = record.take_owed();
    order([this](simulator::Chamber& chamber) {
        for (auto& [id, story] : stories_)
            story.untouched = chamber.true_pitch(id);
    });
    if (plan_.with_faults) plant();
}

void WholeVisit::order(std::function<void(simulator::Chamber&)> what) {
    chamber_.source->post(std::move(what));
}

// At keys that the plan works at. What spoils a whole survey comes with one stop each: a tremulant
// with the first, a cipher with the second, another stop with the third.
void WholeVisit::plant() {
    for (std::size_t number = 0; number < plan_.stops.size(); ++number) {
        const StopId& id = plan_.stops[number];
        const PipeId whole{id.division, id.stop, 0, 0};
        std::vector<PipeId> pipes;
        for (const auto& [pipe, story] : stories_)
            if (StopId{pipe.division, pipe.stop} == id) pipes.push_back(pipe);
        const auto pick = [&](double share) {
            const double shifted = std::fmod(share + 0.07 * static_cast<double>(number), 1.0);
            return pipes.at(static_cast<std::size_t>(shifted * static_cast<double>(pipes.size())));
        };
        const PipeId dead = pick(0.2), stuck = pick(0.5), far = pick(0.35), slow = pick(0.75);
        planted_.push_back({"dead", dead});
        planted_.push_back({"out of reach", far});
        // A tremulant, and a cipher that hides onsets, leave no speech to be judged by.
        const bool shows_speech = plan_.stops.size() == 1 || number > 1;
        if (shows_speech) planted_.push_back({"slow of speech", slow});
        order([=](simulator::Chamber& chamber) {
            chamber.put_mute_in(dead);
            if (shows_speech) chamber.set_speech(slow, kCreepsFor);
        });
        if (number == 0) {
            planted_.push_back({"tremulant", whole});
            order([](simulator::Chamber& chamber) { chamber.set_tremulant(true); });
        } else if (number == 1) {
            planted_.push_back({"ciphers", stuck});
            order([=](simulator::Chamber& chamber) { chamber.set_cipher(stuck, true); });
        } else if (number == 2) {
            planted_.push_back({"wrong stop", whole});
        }
    }
}

Planted* WholeVisit::planted(const std::string& what, const PipeId& pipe) {
    const auto at = std::find_if(planted_.begin(), planted_.end(), [&](const Planted& one) {
        return one.what == what && (pipe == PipeId{} || one.pipe == pipe);
    });
    return at == planted_.end() ? nullptr : &*at;
}

Work WholeVisit::open(visit::RunOptions options, const StopId& first) {
    Console console = chamber_.console;
    console.play = [this, play = console.play](const std::vector<organ::Pipe>& pipes) {
        // The helper draws another stop than the one that was asked for.
        const PipeId& id = pipes.front().id;
        const Planted* wrong = planted("wrong stop", {id.division, id.stop, 0, 0});
        if (wrong == nullptr || wrong->found) return play(pipes);
        const StopId& other = plan_.stops.front();
        play(organ::pipes(organ::stop_by_id(instrument_, other.division, other.stop)));
    };
    const Book book{[this](visit::BookEntry entry) {
                        if (plan_.tells) tell(entry);
                        entries_.push_back(std::move(entry));
                    },
                    [this] { return std::uint64_t{entries_.size()}; }, [] { return std::string(); },
                    [] {}};
    return Work(instrument_, organ::stop_by_id(instrument_, first.division, first.stop), {},
                std::move(options), std::move(console), book, visit::Record{entries_},
                MixtureEar::When::at_once);
}

void WholeVisit::sit(Work& work, Seconds patience, const Done& done) {
    constexpr Seconds kLooks{0.05};
    const Seconds until = took_ + patience;
    Seconds looked = took_;
    at_.reset();
    told_end_ = false;
    while (took_ < until) {
        capture::CaptureBlock block;
        if (!chamber_.source->read(block, Seconds{1.0})) return;
        work.hear(block);
        took_ += duration(block.frames, block.rate);
        if (took_ - looked < kLooks) continue;
        const overlay::Snapshot screen = work.snapshot(chamber_.source->status());
        count(work.run().pipe().id, screen, took_ - looked);
        tell_pitch(work.run());
        looked = took_;
        if (done(screen)) break;
        look(work, screen);
    }
    work.rest();
}

void WholeVisit::tell_pitch(const visit::Run& run) {
    const Cents stands = run.day().pitch ? interval(instrument_.a, *run.day().pitch) : Cents{0.0};
    if (!plan_.tells || std::abs((stands - pitch_).value()) < 0.3) return;
    pitch_ = stands;
    std::printf("%8.1f %-28s A of today %.2f cents from home\n", took_.count(),
                to_string(run.pipe().id).c_str(), stands.value());
}

// Beside what the book is told, the truth of that moment.
void WholeVisit::tell(const visit::BookEntry& entry) {
    const auto* kept = std::get_if<visit::KeptReading>(&entry.matter);
    const auto* change = std::get_if<visit::ListChange>(&entry.matter);
    if (kept == nullptr && change == nullptr) return;
    if (kept != nullptr && kept->moment == visit::Moment::survey) return;
    const PipeId id = kept != nullptr ? kept->pipe : change->pipe;
    const auto story = stories_.find(id);
    if (story == stories_.end()) return;
    char said[160];
    if (kept != nullptr) {
        const auto number = [](std::optional<Cents> cents) { return cents ? cents->value() : NAN; };
        std::snprintf(
            said, sizeof said, "%s%s %.2f +- %.2f (wanted %.2f from home, reference %.2f +- %.2f)",
            storage::to_word(kept->moment).c_str(), kept->settled ? " settled" : "",
            kept->deviation.value(), kept->uncertainty.value(),
            interval(organ::target(instrument_, story->second.pipe, {}), kept->target).value(),
            number(kept->reference_deviation), number(kept->reference_uncertainty));
    } else {
        std::snprintf(said, sizeof said, "%s", storage::to_word(change->state).c_str());
    }
    order([=, this, said = std::string(said), pipe = story->second.pipe,
           at = took_](simulator::Chamber& chamber) {
        std::printf("%8.1f %-28s %s; in truth, cool: %.2f\n", at.count(), to_string(id).c_str(),
                    said.c_str(), off_in_truth(pipe, chamber).value());
    });
}

void WholeVisit::count(const PipeId& pipe, const overlay::Snapshot& screen, Seconds passed) {
    const auto story = stories_.find(pipe);
    if (screen.wait) {
        waited_ += passed;
    } else if (story != stories_.end() && !screen.survey) {
        if (at_ != pipe) {
            ++story->second.turns;
            if (plan_.tells) std::printf("%8.1f %s\n", took_.count(), to_string(pipe).c_str());
        }
        story->second.in_hand += passed;
    }
    at_ = pipe;
}

// The technician at the ladder: reads, moves, says what is to be done.
void WholeVisit::look(Work& work, const overlay::Snapshot& screen) {
    const PipeId pipe = work.run().pipe().id;
    for (const overlay::Notice& notice : screen.notices) {
        if (!contains(notice.words, "tremulant is on")) continue;
        if (Planted* one = planted("tremulant")) one->found = true, one->said = notice.words;
        order([](simulator::Chamber& chamber) { chamber.set_tremulant(false); });
    }
    // He sees for himself what he can't reach.
    if (Planted* far = planted("out of reach", pipe);
        far != nullptr && !screen.survey && !screen.end) {
        if (!screen.out_of_reach)
            work.obey(visit::MarkOutOfReach{});
        else if (!screen.wait)
            work.obey(visit::GoNext{});
        return;
    }
    if (screen.survey) return;
    const auto command = technician_.look(screen, took_);
    if (!command) return;
    if (std::holds_alternative<visit::EndVisit>(*command)) {
        told_end_ = true;
        if (plan_.tells) std::printf("%8.1f told: nothing else to tune\n", took_.count());
        for (const overlay::ListLine& line : screen.end->left)
            if (plan_.tells)
                std::printf("         stays: %s %s, %s\n", line.stop.c_str(), line.note.c_str(),
                            line.why.c_str());
        return;
    }
    if (std::holds_alternative<visit::MoveDevice>(*command) && in_play(pipe))
        ++stories_[pipe].moves;
    if (plan_.tells)
        std::printf("%8.1f %-28s %s, %s\n", took_.count(), to_string(pipe).c_str(),
                    std::holds_alternative<visit::MoveDevice>(*command)  ? "moves"
                    : std::holds_alternative<visit::HearAlone>(*command) ? "alone"
                                                                         : "next",
                    screen.stage == overlay::Stage::settled ? "settled" : "not settled");
    work.obey(*command);
}

void WholeVisit::find_in_survey(const overlay::Snapshot& screen) {
    const std::string stop = screen.stop;
    for (const std::string& finding : screen.survey->findings) {
        if (Planted* one = planted("tremulant"); one != nullptr && contains(finding, "tremulant"))
            one->found = true, one->said = finding;
        if (Planted* one = planted("wrong stop", {screen.pipe.division, screen.pipe.stop, 0, 0});
            one != nullptr && contains(screen.survey->not_kept, "another stop was drawn"))
            one->found = true, one->said = screen.survey->not_kept;
        if (std::find(said_.begin(), said_.end(), stop + ": " + finding) == said_.end())
            said_.push_back(stop + ": " + finding);
    }
}

void WholeVisit::find_in_book() {
    for (const visit::BookEntry& entry : entries_) {
        const auto* fault = std::get_if<visit::Fault>(&entry.matter);
        if (fault == nullptr) continue;
        Planted* one = planted(fault->fault, fault->pipe);
        if (one != nullptr) one->found = true, one->said = fault->words;
    }
    for (Planted& one : planted_)
        if (one.what == "out of reach" && visit::Record{entries_}.of(one.pipe).out_of_reach)
            one.found = true;
}

std::vector<std::string> WholeVisit::falsely_said() const {
    std::vector<std::string> falsely;
    for (const visit::BookEntry& entry : visit::counted(entries_)) {
        const auto* fault = std::get_if<visit::Fault>(&entry.matter);
        if (fault == nullptr || !in_play(fault->pipe)) continue;
        const bool is = std::any_of(planted_.begin(), planted_.end(), [&](const Planted& one) {
            return one.pipe == fault->pipe && one.what == fault->fault;
        });
        if (!is)
            falsely.push_back(
                text_of({to_string(fault->pipe), ": ", fault->fault, ", ", fault->words}));
    }
    return falsely;
}

// What was found is mended where that is done before tuning.
void WholeVisit::set_right(const Planted& one) {
    const PipeId pipe = one.pipe;
    if (one.what == "ciphers")
        order([=](simulator::Chamber& chamber) { chamber.set_cipher(pipe, false); });
    if (one.what == "tremulant")
        order([](simulator::Chamber& chamber) { chamber.set_tremulant(false); });
}

void WholeVisit::survey() {
    constexpr int kMostTimes = 3;
    for (const StopId& stop : plan_.stops) {
        for (int time = 0; time < kMostTimes; ++time) {
            Work work = open({visit::Job::survey}, stop);
            std::string not_kept = "not heard";
            const auto keys = static_cast<double>(work.run().pipes().size());
            const Seconds played = took_ + kTakesAKey * keys;
            sit(work, Seconds{400.0}, [&](const overlay::Snapshot& screen) {
                find_in_survey(screen);
                not_kept = screen.survey->not_kept;
                if (screen.survey->stage == overlay::SurveyView::Stage::done) return true;
                // The helper says that every key was played.
                if (took_ > played) work.obey(visit::GoNext{});
                return false;
            });
            if (plan_.tells)
                std::printf("%8.1f survey of %s/%s: %s\n", took_.count(), stop.division.c_str(),
                            stop.stop.c_str(), not_kept.empty() ? "kept" : not_kept.c_str());
            find_in_book();
            const Planted* tremulant = planted("tremulant");
            if (tremulant != nullptr && tremulant->found) set_right(*tremulant);
            if (not_kept.empty()) break;
        }
        for (const Planted& one : planted_)
            if (one.found && StopId{one.pipe.division, one.pipe.stop} == stop) set_right(one);
    }
}

void WholeVisit::tune(Seconds patience) {
    const auto job = plan_.by_beats ? visit::Job::from_reference : visit::Job::to_target;
    // Each time until he is told that nothing is left.
    {
        Work work = open({job, false, plan_.stops}, plan_.stops.front());
        sit(work, patience, [&](const auto&) { return told_end_; });
    }
    // By the list, what is left; what can't be tuned comes off it.
    visit::Record record{entries_};
    for (const auto& [pipe, story] : stories_)
        for (const visit::Fault& fault : record.of(pipe).faults)
            if (fault.fault == visit::kFaults.front())
                record.add({}, visit::ListChange{pipe, visit::ListState::dropped});
    for (visit::BookEntry& entry : record.take_owed())
        entries_.push_back(std::move(entry));
    // The program says then that nothing is on the list.
    if (visit::work_list(instrument_, entries_).to_do() == 0) return find_in_book();
    visit::RunOptions by_list{job};
    by_list.only_listed = true;
    Work work = open(std::move(by_list), plan_.stops.front());
    sit(work, patience, [&](const auto&) { return told_end_; });
    find_in_book();
}

// From where its reference has it, or its target at the visit's A.
Cents WholeVisit::off_in_truth(const organ::Pipe& pipe, const simulator::Chamber& chamber) {
    auto reference = plan_.by_beats ? organ::reference_of(instrument_, pipe, {}) : std::nullopt;
    if (reference && planted("dead", reference->pipe.id) != nullptr) reference.reset();
    organ::Day day;
    for (const visit::BookEntry& entry : visit::counted(entries_))
        if (const auto* pitch = std::get_if<visit::PitchReading>(&entry.matter))
            day.pitch = pitch->a;
    Hertz right = organ::target(instrument_, pipe, day);
    if (reference)
        right = (chamber.true_pitch(reference->pipe.id) * reference->reference_partial +
                 reference->beat) /
                reference->pipe_partial;
    return interval(right, chamber.true_pitch(pipe.id));
}

std::vector<PipeStory> WholeVisit::stories() {
    const visit::Record record{entries_};
    std::vector<PipeStory> out;
    for (auto& one : stories_) {
        const PipeId& id = one.first;
        PipeStory& story = one.second;
        const visit::PipeRecord& known = record.of(id);
        story.out_of_reach = known.out_of_reach;
        for (const visit::Fault& fault : known.faults)
            story.dead = story.dead || fault.fault == visit::kFaults.front();
        story.done = known.list == visit::ListState::done;
        if (known.before) {
            story.found = known.before->deviation;
            story.found_beside = interval(story.untouched, known.before->pitch);
        }
        story.tolerance = tuning::tolerance_at(organ::target(instrument_, story.pipe, {}));
        order([&story, this](simulator::Chamber& chamber) {
            story.off = off_in_truth(story.pipe, chamber);
        });
    }
    capture::CaptureBlock block;
    chamber_.source->read(block, Seconds{1.0});
    for (const auto& [id, story] : stories_)
        out.push_back(story);
    return out;
}

std::string told(WholeVisit& visit) {
    std::string out;
    char line[256];
    const auto add = [&](const auto&... what) {
        std::snprintf(line, sizeof line, what...);
        out += line;
    };
    std::vector<PipeStory> stories = visit.stories();
    std::size_t tuned = 0, done = 0, in_tolerance = 0, falsely = 0;
    std::vector<double> times;
    for (const PipeStory& story : stories) {
        const bool out_of_play = story.out_of_reach || story.dead;
        add("%-28s %-12s found %7.2f (%5.2f beside), in truth %6.2f, %5.1f s, %d turns, %d moves\n",
            to_string(story.pipe.id).c_str(),
            story.out_of_reach ? "out of reach"
            : story.dead       ? "dead"
            : story.done       ? "done"
                               : "not done",
            story.found.value(), story.found_beside.value(), story.off.value(),
            story.in_hand.count(), story.turns, story.moves);
        if (out_of_play) continue;
        ++tuned;
        done += story.done ? 1U : 0U;
        in_tolerance += story.right() ? 1U : 0U;
        falsely += story.done && !story.right() ? 1U : 0U;
        times.push_back(story.in_hand.count());
    }
    std::sort(times.begin(), times.end());
    const auto share = [&](double of) {
        return times.empty()
                   ? 0.0
                   : times[static_cast<std::size_t>(of * static_cast<double>(times.size() - 1))];
    };
    std::size_t found = 0;
    for (const Planted& one : visit.planted()) {
        found += one.found ? 1U : 0U;
        add("planted: %-16s %-28s %s%s\n", one.what.c_str(), to_string(one.pipe).c_str(),
            one.found ? "found: " : "NOT FOUND", one.said.c_str());
    }
    const std::vector<std::string> false_faults = visit.falsely_said();
    for (const std::string& fault : false_faults)
        add("falsely said: %s\n", fault.c_str());
    add("%zu pipes to tune: %zu done, %zu in tolerance, %zu falsely kept; faults: %zu of %zu "
        "found, "
        "%zu falsely said; a pipe took %.0f s in the middle, nine of ten %.0f s; the visit took "
        "%.0f s, %.0f of them waiting\n",
        tuned, done, in_tolerance, falsely, found, visit.planted().size(), false_faults.size(),
        share(0.5), share(0.9), visit.took().count(), visit.waited().count());
    return out;
}

}  // namespace rankwright::app

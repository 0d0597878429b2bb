#include "app/snapshot.h"

#include "app/mixture_snapshot.h"
#include "app/survey_snapshot.h"
#include "organ/air.h"
#include "organ/note.h"
#include "organ/pitch_of_day.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace rankwright::app {

namespace {

using overlay::Snapshot;
using tuning::Stage;

/// The next notes that are called. An octave or more from the one called before or after it, a
/// note's name alone would tell the helper another key.
std::string to_come(const visit::Run& run) {
    constexpr std::size_t kCallsAhead = 3;
    constexpr int kOctave = 12;
    std::vector<const organ::Pipe*> calls{&run.pipe()};
    for (const std::size_t i : run.ahead())
        if (calls.size() <= kCallsAhead) calls.push_back(&run.pipes()[i]);
    const auto far = [&](std::size_t i) {
        return i + 1 < calls.size() && std::abs(calls[i + 1]->midi - calls[i]->midi) >= kOctave;
    };
    std::string words;
    for (std::size_t i = 1; i < calls.size(); ++i)
        words += (i == 1 ? "then " : " · ") +
                 (far(i - 1) || far(i) ? calls[i]->note : organ::short_note(calls[i]->midi));
    return words.empty() ? "the last pipe of this stop" : words;
}

void fill_call(Snapshot& out, const visit::Run& run) {
    const organ::Pipe& pipe = run.pipe();
    out.organ = run.instrument().name;
    out.stop = pipe.division + " · " + pipe.stop;
    const visit::Call call = run.call();
    out.alone = run.hears_alone();
    out.job = out.alone ? "alone, without its reference" : "to its target";
    out.note = pipe.note;
    out.key = pipe.key;
    out.stops_on = call.stops;
    if (call.also) {
        out.also_note = call.also->note;
        if (call.also->division != pipe.division) out.also_where = call.also->division;
    }
    out.kind = pipe.make.kind;
    out.material = pipe.make.material;
    out.device = pipe.make.device;
    out.pipe_count = static_cast<int>(run.pipes().size());
    out.settled_count = static_cast<int>(run.settled_count());
    if (const auto wait = run.wait()) {
        out.wait = wait->left;
        out.wait_for_wire = wait->wire;
    }
    out.again_count = static_cast<int>(run.again_count());
    out.open_count = static_cast<int>(run.open_count());
    const visit::PipeRecord& record = run.record().of(pipe.id);
    out.out_of_reach = record.out_of_reach;
    for (const visit::Fault& fault : record.faults)
        out.faults.push_back(fault.fault);
    out.then = to_come(run);
}

void fill_chest(Snapshot& out, const visit::Run& run) {
    const std::vector<organ::Pipe>& pipes = run.pipes();
    const auto lowest =
        std::min_element(pipes.begin(), pipes.end(), [](const auto& a, const auto& b) {
            return a.midi < b.midi;
        })->midi;
    for (const std::size_t i : run.standing()) {
        overlay::ChestPipe standing;
        standing.key = pipes[i].key;
        // True lengths would leave the treble as dots: five octaves are drawn as a fifth.
        standing.height = static_cast<float>(std::exp2(-(pipes[i].midi - lowest) / 12.0 * 0.45));
        standing.note = organ::short_note(pipes[i].midi);
        standing.deviation = run.outcomes()[i].last;
        const visit::PipeRecord& record = run.record().of(pipes[i].id);
        standing.again = run.outcomes()[i].again;
        const bool warm = standing.again || (i == run.current() && run.is_warm());
        standing.kept = run.outcomes()[i].settled && !warm && run.record().kept(pipes[i].id);
        standing.out_of_reach = record.out_of_reach;
        standing.faulty = !record.faults.empty();
        out.kept_count += standing.kept ? 1 : 0;
        standing.current = i == run.current();
        standing.starts_side = run.other_side() != 0 && out.chest.size() == run.other_side();
        out.chest.push_back(std::move(standing));
    }
    if (run.other_side() != 0) {
        // By the owner's keys: a borrowed fifth is played by keys of the other side.
        const PipeId& first = pipes[run.standing().front()].id;
        const auto owner = organ::stop_by_id(run.instrument(), first.division, first.stop);
        const bool c_first = (owner.division->lowest_midi + first.key - 1) % 2 == 0;
        out.left_side = c_first ? "C side" : "C♯ side";
        out.right_side = c_first ? "C♯ side" : "C side";
    }
}

void fill_keeping(Snapshot& out, const visit::Run& run) {
    const visit::Record& record = run.record();
    const PipeId& pipe = run.pipe().id;
    out.keeping = !record.of(pipe).after ? overlay::Keeping::not_yet
                  : !record.kept(pipe)   ? overlay::Keeping::held
                  : run.is_warm()        ? overlay::Keeping::again
                                         : overlay::Keeping::kept;
}

void fill_figures(Snapshot& out, const tuning::PipeState& state, Hertz target,
                  const visit::Run& run) {
    out.stage = state.stage;
    out.target = target;
    out.pitch = state.pitch;
    out.deviation = state.deviation;
    out.uncertainty = state.uncertainty;
    out.heard = state.heard;
    if (state.pitch) out.beats = *state.pitch - *out.target;
    if (state.advice) {
        out.advice = *state.advice;
        out.amount = amount_words(*state.advice);
        if (out.amount.empty()) out.amount = state.taps;
    }
    if (state.stage == Stage::wrong_key && state.wrong_pitch) {
        const auto named = std::find_if(
            run.pipes().begin(), run.pipes().end(),
            [&](const auto& pipe) { return state.wrong_key && pipe.key == *state.wrong_key; });
        char pitch[32];
        std::snprintf(pitch, sizeof pitch, "%.1f Hz", state.wrong_pitch->value());
        out.heard_note = named != run.pipes().end() ? named->note : pitch;
    }
}

// What sounds is the pipe before.
void clear_figures(Snapshot& out) {
    out.stage = Stage::waiting;
    out.pitch.reset();
    out.deviation.reset();
    out.uncertainty.reset();
    out.beats.reset();
    out.beat.reset();
    out.advice = {};
    out.amount.clear();
    out.heard = Seconds{0.0};
}

std::string off_words(Cents off) {
    char text[48];
    std::snprintf(text, sizeof text, "%.1f cents %s", std::abs(off.value()),
                  off > Cents{0.0} ? "sharp" : "flat");
    return text;
}

void fill_paired(Snapshot& out, const tuning::AgainstReference& job, const visit::Run& run) {
    const tuning::PairedState& state = job.state();
    const organ::Reference& reference = job.expectation()->reference;
    const bool one_key = !run.call().also;
    out.job = (one_key ? "from " + reference.pipe.stop : reference.words) + ", by beats";
    out.reference = reference.pipe.stop;
    out.reference_deviation = state.reference_deviation;
    // Off from a pitch that nobody measured yet says nothing; the pitch it stands at does.
    if (state.reference_deviation && !job.expectation()->day_known)
        out.reference_a =
            transpose(organ::pitch_of(run.instrument(), run.day()), *state.reference_deviation);
    out.pulled_together = state.drawn();
    out.perhaps_both = state.perhaps_both;
    out.beats.reset();
    if (state.beat)
        out.beat = overlay::Beat{*state.beat, reference.beat, *state.beat_sd, state.under};
    if (state.drawn()) out.notices.push_back({false, state.drawing.advice});
    constexpr Seconds kWaitsForThePipe{4.0};
    if (state.perhaps_both && state.beat && state.pipe.heard > kWaitsForThePipe)
        out.notices.push_back(
            {false, "Perhaps " + out.reference + " sounds alone: hear the pipe by itself (A)."});
    if (!state.copies_error) return;
    const bool reached = !run.record().of(reference.pipe.id).out_of_reach;
    // No longer than two lines of the screen hold.
    out.notices.push_back({false, out.reference + " is " + off_words(*state.reference_deviation) +
                                      ": what is tuned from it copies that. " +
                                      (reached ? "Tune it first, or go on if the rank follows it."
                                               : "Go on only if the rank is to follow it.")});
}

void fill_suspicions(Snapshot& out, const listening::Suspicions& heard) {
    const auto add = [&](bool urgent, std::string words) {
        out.notices.push_back({urgent, std::move(words)});
    };
    if (heard.clipping)
        add(true, out.reference.empty()
                      ? "The microphone is overloaded: move it away or lower the input. The pitch "
                        "still holds."
                      : "The microphone is overloaded: move it away or lower the input. The beat "
                        "can't be trusted.");
    if (heard.tremulant) add(true, "A tremulant is on: have it turned off.");
    if (heard.fading)
        add(true,
            "The computer fades steady sound: turn off its noise suppression and gain control.");
    if (heard.octave_doubtful) add(false, "The octave is doubtful: the fundamental is missing.");
    if (heard.only_wind) add(false, "Wind is heard in the pipe, but no tone. F notes it as dead.");
    if (heard.mains_hum) add(false, "Mains hum in the input: check the cable.");
}

// What temperature does to the pipe at hand, and to the organ.
void fill_day_notices(Snapshot& out, const visit::Run& run) {
    const auto add = [&](std::string words) { out.notices.push_back({false, std::move(words)}); };
    const organ::Day& day = run.day();
    const std::string home = organ::celsius_text(run.instrument().at);
    const bool tunes = run.job() != visit::Job::survey;
    if (const auto compensated = run.compensation())
        add("Compensated: wanted " + off_words(compensated->offset) +
            " of the plain target now, it will agree at " + home + ".");
    else if (const auto later = organ::compensation(run.instrument(), run.pipe(), day);
             later && tunes)
        add("In tune now, this " + std::string(run.pipe().make.reed() ? "reed" : "pipe") +
            " will read " + off_words(-later->offset) + " at " + home + ".");
    const auto today = run.pitch_today().explained(day);
    if (today && today->contradicted) add(today->explanation);
    for (const std::string& warning : organ::thermometer_warnings(run.instrument(), day))
        add(warning);
    constexpr double kWorthSaying = 0.5;
    const Cents drift = run.pitch_today().drift();
    if (std::abs(drift.value()) >= kWorthSaying)
        add("The references stand " + off_words(drift) +
            " of where they were first heard: the pitch of the day follows.");
}

// Several pipes of a mixture together look like a tremulant, or like a tone without fundamental, or
// come and go as wind does.
listening::Suspicions suspicions_of_one(const SnapshotInputs& in) {
    listening::Suspicions heard = in.listener->hearing().suspicions;
    if (!in.mixture) return heard;
    using Sounds = tuning::MixtureKeyState::Sounds;
    const Sounds sounds = in.mixture->key().state().sounds;
    const bool none_muted = in.mixture->order().none_muted();
    if (none_muted || sounds != Sounds::right) heard.tremulant = heard.octave_doubtful = false;
    if (none_muted || sounds != Sounds::unknown) heard.only_wind = false;
    return heard;
}

void fill_notices(Snapshot& out, const SnapshotInputs& in) {
    const auto add = [&](bool urgent, std::string words) {
        out.notices.push_back({urgent, std::move(words)});
    };
    if (!in.source.message.empty()) add(true, in.source.message);
    if (const Cents warm = in.run.warmth().by; warm > Cents{0.0}) {
        char text[96];
        std::snprintf(
            text, sizeof text,
            "Warm from the hand: wanted %.1f cents higher, by which it falls as it cools.",
            warm.value());
        add(false, text);
    }
    if (!in.book_trouble.empty()) add(true, in.book_trouble);
    if (out.unanswered)
        add(true,
            "Nothing heard changes. If this pipe was moved, another sounds in its place: check "
            "the stop, look for a cipher, hear it alone.");
    if (in.run.unheard().asks_to_move() && out.faults.empty())
        add(false, out.unheard_treble
                       ? "Nothing is heard. A treble may stand in a node of the room: move the "
                         "microphone a hand's breadth and hear its key again."
                       : "Still nothing is heard. If its key was held twice, F notes it as dead.");
    if (const auto dead = in.run.dead_reference())
        add(false, "Its reference, " + dead->stop + " " + dead->note +
                       ", is noted as dead: the pipe is heard alone, to its own target.");
    if (in.run.hears_alone() && !in.job.state().target_known)
        add(false, "Where its reference stands isn't known well enough: hear it once more (A).");
    if (const auto left = in.run.left_open())
        add(false,
            left->note + " is left open: it had not settled." +
                (left->waited_for ? " It is called again before what is tuned from it." : ""));
    if (in.run.record().of(in.run.pipe().id).out_of_reach)
        add(false, "Marked as out of reach (X: within reach again).");
    if (!out.faults.empty()) {
        std::string words = "Noted:";
        for (const std::string& fault : out.faults)
            words += " " + fault + (&fault == &out.faults.back() ? "." : ",");
        add(false, words);
    }
    if (in.source.state == capture::SourceState::ended) add(true, "The recording has ended.");
    // Beats would look like a tremulant to the ear for one pipe.
    if (in.pair)
        fill_suspicions(out, in.pair->suspicions);
    else if (in.listener)
        fill_suspicions(out, suspicions_of_one(in));
    if (in.pipe().drifting) add(false, "Still moving by itself: hands off, wait.");
    fill_day_notices(out, in.run);
}

}  // namespace

std::string amount_words(const organ::Movement& movement) {
    if (!movement.at_least || !movement.at_most) return {};
    const double low = movement.at_least->value();
    const double high = movement.at_most->value();
    char text[64];
    if (high < 10.0 && std::round(low * 2.0) == std::round(high * 2.0))
        std::snprintf(text, sizeof text, "about %.1f mm", std::round(high * 2.0) / 2.0);
    else if (high < 3.0)
        std::snprintf(text, sizeof text, "%.1f to %.1f mm", low, high);
    else if (std::round(low) == std::round(high))
        std::snprintf(text, sizeof text, "about %.0f mm", high);
    else
        std::snprintf(text, sizeof text, "%.0f to %.0f mm", low, high);
    return text;
}

LevelWords level_words(const listening::Hearing& hearing) {
    const double rms_db = hearing.input.rms.value();
    if (hearing.input.clipped > 0.0 || hearing.suspicions.clipping) return {"overloaded", true};
    if (rms_db < -100.0) return {"no signal at all", true};
    if (hearing.sounding == listening::Sounding::silence) return {"listening", false};
    if (rms_db < -66.0) return {"too quiet: move nearer", true};
    return {"level good", false};
}

std::vector<overlay::StopChoice> stop_choices(const organ::Instrument& instrument) {
    std::vector<overlay::StopChoice> choices;
    for (const organ::Division& division : instrument.divisions)
        for (const organ::Stop& stop : division.stops)
            if (!organ::pipes({&division, &stop, &instrument}).empty())
                choices.push_back({{division.id, stop.id}, division.name, stop.name, false});
    return choices;
}

tuning::PipeState SnapshotInputs::pipe() const {
    const tuning::PipeState& heard = paired ? paired->state().pipe : job.state();
    return mixture ? mixture->key().shown(heard) : heard;
}

overlay::Snapshot make_snapshot(const SnapshotInputs& in) {
    Snapshot out;
    out.stops.assign(in.stops.begin(), in.stops.end());
    const organ::StopRef in_hand = in.run.stop();
    for (overlay::StopChoice& stop : out.stops)
        stop.current = stop.id == StopId{in_hand.division->id, in_hand.stop->id};
    fill_call(out, in.run);
    fill_chest(out, in.run);
    if (in.book) fill_keeping(out, in.run);
    out.book_trouble = in.book_trouble;
    if (in.paired) {
        const tuning::PairedExpectation& expected = *in.paired->expectation();
        fill_figures(out, in.pipe(), expected.wanted(expected.reference_target), in.run);
        fill_paired(out, *in.paired, in.run);
    } else {
        fill_figures(out, in.pipe(), in.job.expectation()->target, in.run);
    }
    if (in.run.hears_pipe_before()) clear_figures(out);
    out.unanswered = in.run.is_unanswered();
    out.unheard_treble = in.run.unheard().may_be_in_node() && out.faults.empty();
    out.pitch_of_day = organ::pitch_of(in.run.instrument(), in.run.day());
    out.pitch_measured = in.run.pitch_today().is_told();
    out.temperature = in.run.day().temperature;
    out.humidity = in.run.day().humidity;
    out.input_name = in.source.name;
    out.dropped_frames = in.source.dropped_frames;
    out.overruns = in.source.overruns;
    out.simulated = in.simulated;
    if (in.listener) {
        const auto frames = in.paired ? in.meetings : in.listener->partial_frames();
        out.ribbons = in.paired ? make_ribbons(frames, in.paired->expectation()->reference)
                                : make_ribbons(frames);
        const LevelWords level = level_words(in.listener->hearing());
        out.level_words = level.words;
        out.level_bad = level.bad;
        if (frames.size() > 1)
            out.ribbon_step = duration(frames[1].at - frames[0].at, in.listener->hearing().rate);
    }
    fill_notices(out, in);
    if (in.mixture) fill_mixture(out, *in.mixture, in.run);
    if (in.survey) fill_survey(out, *in.survey, in.run, in.book);
    return out;
}

}  // namespace rankwright::app

// Snapshots to draw: an invented organ in every state the window knows.
#pragma once

#include "overlay/snapshot.h"

#include <cmath>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::overlay::examples {

struct Example {
    std::string name;
    Snapshot snapshot;
};

/// Ribbons of a steady `beat`, `heard` long.
inline std::vector<Ribbon> ribbons(double beat_hz, double heard_s, double step_s = 0.02) {
    std::vector<Ribbon> made;
    for (int k = 1; k <= 4; ++k) {
        Ribbon ribbon{std::to_string(k) + ":" + std::to_string(k), {}};
        for (int i = 0; i < static_cast<int>(heard_s / step_s); ++i)
            ribbon.width.push_back(static_cast<float>(
                std::abs(std::cos(std::numbers::pi * k * beat_hz * i * step_s))));
        made.push_back(std::move(ribbon));
    }
    return made;
}

/// A chest of `pipes` in two sides, tall at the ends, the first `done` of them settled.
inline std::vector<ChestPipe> chest(int pipes, int done, int current) {
    const char* const names[] = {"C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A", "B♭", "B"};
    std::vector<ChestPipe> standing;
    const auto add = [&](int key, bool other_side) {
        ChestPipe pipe;
        pipe.key = key;
        pipe.height = static_cast<float>(std::exp2(-(key - 1) * 0.45 / 12.0));
        pipe.note = names[(key - 1) % 12];
        pipe.kept = key <= done;
        pipe.current = key == current;
        pipe.starts_side = other_side;
        if (key <= done) pipe.deviation = Cents{std::sin(key * 1.7) * 0.9};
        if (key > done && key < done + 14) pipe.deviation = Cents{std::sin(key * 2.3) * 14.0};
        standing.push_back(pipe);
    };
    for (int key = 1; key <= pipes; key += 2)
        add(key, false);
    bool first = true;
    for (int key = pipes - pipes % 2; key >= 2; key -= 2)
        add(key, std::exchange(first, false));
    return standing;
}

inline Snapshot base() {
    Snapshot s;
    s.organ = "Saint Ebba, Harrow Fold";
    s.stop = "Great · Principal 8′";
    s.job = "to its target";
    s.note = "middle G";
    s.then = "then A · B · C♯";
    s.stops_on = {"Principal 8′"};
    s.key = 32;
    s.settled_count = 27;
    s.pipe_count = 61;
    s.pitch_of_day = Hertz{441.3};
    s.pitch_measured = true;
    s.temperature = Celsius{21.3};
    s.target = Hertz{393.14};
    s.input_name = "built-in microphone";
    s.level_words = "level good";
    s.chest = chest(61, 27, 32);
    s.left_side = "C side";
    s.right_side = "C♯ side";
    return s;
}

inline Snapshot reading(double cents, double uncertainty, double heard) {
    Snapshot s = base();
    s.stage = Stage::reading;
    s.deviation = Cents{cents};
    s.uncertainty = Cents{uncertainty};
    s.pitch = transpose(*s.target, *s.deviation);
    s.beats = *s.pitch - *s.target;
    s.heard = Seconds{heard};
    s.ribbons = ribbons(std::abs(s.beats->value()), heard);
    for (ChestPipe& pipe : s.chest)
        if (pipe.current) pipe.deviation = s.deviation;
    return s;
}

inline Snapshot advised(Snapshot s, organ::PipeKind kind, organ::Material material,
                        organ::TuningDevice device, organ::Movement movement,
                        std::string amount = {}) {
    s.kind = kind;
    s.material = material;
    s.device = device;
    s.advice = std::move(movement);
    s.amount = std::move(amount);
    return s;
}

inline organ::Movement way(organ::Way to, std::string words, std::string caution = {}) {
    organ::Movement movement;
    movement.way = to;
    movement.words = std::move(words);
    movement.caution = std::move(caution);
    return movement;
}

/// From a 4′ reference, `beat` a second sharp of the pure interval where `target` is wanted.
inline Snapshot beating(double beat, double uncertainty, double heard, double target = 0.0) {
    Snapshot s = base();
    const double meeting_hz = 2.0 * s.target->value();
    const double cents_a_beat = 1200.0 / std::numbers::ln2 / meeting_hz;
    s = reading((beat - target) * cents_a_beat, uncertainty * cents_a_beat, heard);
    s.job = "from Octave 4′, by beats";
    s.reference = "Octave 4′";
    s.stops_on = {"Octave 4′", "Principal 8′"};
    s.beat = Beat{Hertz{beat}, Hertz{target}, Hertz{uncertainty}, std::nullopt};
    s.reference_deviation = Cents{-0.4};
    s.ribbons = ribbons(std::abs(beat), heard);
    for (std::size_t k = 0; k < s.ribbons.size(); ++k)
        s.ribbons[k].label = std::to_string(k + 1) + ":" + std::to_string(2 * k + 2);
    return s;
}

/// A key of four pipes, the second in hand.
inline Snapshot at_a_mixture(Snapshot s) {
    s.stop = "Great · Mixture IV";
    s.job = "pipe by pipe, the others muted";
    MixtureKey key;
    for (const char* pitch : {"2 2/3′", "2′", "1 1/3′", "1′"}) {
        KeyPipe pipe;
        pipe.pitch = pitch;
        pipe.height = 1.0F - 0.2F * static_cast<float>(key.pipes.size());
        pipe.muted = key.pipes.size() != 1;
        key.pipes.push_back(pipe);
    }
    key.pipes[0].settled = true;
    key.pipes[0].deviation = Cents{0.1};
    key.pipes[1].current = true;
    key.pipes[1].deviation = s.deviation;
    key.pipes[2].deviation = Cents{-6.3};
    key.pipes[2].uncertainty = Cents{0.05};
    key.mutes_in = 3;
    key.in_hand = "2′";
    key.next_pitch = "1 1/3′";
    s.mixture = key;
    return s;
}

/// A rank played through, as far as middle G.
inline Snapshot played_through(Snapshot s) {
    s.stop = "Great · Octave 4′";
    s.job = "played through";
    s.reference.clear();
    s.keeping = Keeping::not_yet;
    s.kept_count = 31;
    for (ChestPipe& pipe : s.chest)
        pipe.last_time = Cents{pipe.key % 2 == 0 ? 1.5 : -2.0};
    SurveyView survey;
    survey.sounding = true;
    survey.last_time = Cents{-1.8};
    survey.heard = 32;
    survey.missing = "CC♯, tenor A, middle G♯ to C in altissimo";
    survey.findings = {"rank 8.2 cents flat",        "23 of 32 out of tune",
                       "tenor D♯ silent or skipped", "CC ciphers",
                       "tenor B 21.5 cents sharp",   "FF♯ off speech"};
    s.survey = survey;
    return s;
}

/// Everything that may happen at a pipe, then the long, the wide and the empty.
/// At work over a list of seven pipes, one dropped.
inline Snapshot over_the_list() {
    Snapshot s = base();
    s.pipe = {"great", "principal-8", 1, 32};
    s.only_listed = true;
    s.then.clear();
    s.next_stop = "Trumpet 8′";
    const auto line = [](const char* stop, const char* name, int key, const char* note,
                         const char* why) {
        ListLine one;
        one.pipe = {"great", stop, 1, key};
        one.stop = name;
        one.note = note;
        one.why = why;
        return one;
    };
    ListPage page;
    page.lines = {
        line("trumpet-8", "Great · Trumpet 8′", 20, "tenor G",
             "complaint: growls whenever the choir sits down, and the organist leaves it out"),
        line("principal-8", "Great · Principal 8′", 32, "middle G",
             "5.0 cents sharp: beats 1.1 a second with the ensemble, 2.3 a second with its "
             "reference"),
        line("octave-4", "Great · Octave 4′", 25, "middle C",
             "3.1 cents flat: beats 0.94 a second with the ensemble · moved 3.0 cents flatter "
             "since May 2026"),
        line("octave-4", "Great · Octave 4′", 40, "treble D♯", "added by hand"),
        line("gamba-8", "Great · Gamba 8′", 7, "FF♯", "left open · 1.2 cents flat"),
        line("mixture-iii", "Great · Mixture III", 30, "middle F, row 2", "slow of speech"),
        line("gamba-8", "Great · Gamba 8′", 9, "GG♯", "dropped · 0.9 cents flat"),
    };
    page.lines.back().to_do = false;
    page.walking = {2, 3, 1, 4, 5, 0, 6};
    page.remarks = {
        "Great · Gamba 8′ stands 4.1 cents flat as a whole: temperature or wind, not "
        "its single pipes, which are judged from there"};
    page.to_do = 6;
    page.done = 11;
    s.list = std::make_shared<const ListPage>(page);
    s.calls = {
        {"Great: Octave 4′, then Principal 8′ as well", "middle G", "key 32", ""},
        {"Great: Octave 4′, then Gamba 8′ as well", "FF♯", "key 7", ""},
        {"Great: Clarion 4′", "middle C", "key 25", "and tenor C, key 13"},
        {"Great: Clarion 4′", "C in altissimo", "key 61", "and C in alt on the Swell, key 49"},
        {"Great: Octave 4′, then Trumpet 8′ as well", "tenor G", "key 20", ""}};
    return s;
}

/// After the last pipe.
inline Snapshot at_the_end(std::size_t left, int elsewhere) {
    Snapshot s = over_the_list();
    EndView end;
    for (std::size_t i = 0; i < left; ++i)
        end.left.push_back(s.list->lines[i % (s.list->lines.size() - 1)]);
    for (std::size_t i = 0; i < left; ++i)
        end.left[i].why = i % 2 == 0 ? "left open · 2.9 cents sharp" : "slow of speech";
    if (left > 1) end.left[1].out_of_reach = true;
    end.elsewhere = elsewhere;
    s.end = end;
    return s;
}

inline std::vector<Example> all() {
    using organ::Material;
    using organ::PipeKind;
    using organ::TuningDevice;
    using organ::Way;
    std::vector<Example> out;
    const auto add = [&](std::string name, Snapshot s) {
        out.push_back({std::move(name), std::move(s)});
    };

    add("sharp-open", advised(reading(3.2, 0.05, 5.0), PipeKind::open, Material::metal,
                              TuningDevice::sleeve, way(Way::up, "sleeve up"), "about 1 mm"));
    add("flat-stopped-wood",
        advised(reading(-12.4, 0.08, 2.1), PipeKind::stopped, Material::wood, TuningDevice::stopper,
                way(Way::down, "stopper down"), "2 to 3 mm"));
    Snapshot reed = advised(reading(7.9, 0.4, 0.9), PipeKind::reed_full, Material::metal,
                            TuningDevice::reed_wire,
                            way(Way::up, "wire up", "settle the spring afterwards: it creeps"),
                            "about two taps like the last");
    reed.stop = "Choir · Krummhorn 8′";
    reed.stage = Stage::moving;
    add("sharp-reed-moving", reed);
    add("flat-cone",
        advised(reading(-0.84, 0.02, 4.0), PipeKind::tapered, Material::metal, TuningDevice::cone,
                way(Way::out, "cone out", "the least that serves: coning tires the metal")));
    add("undecided", reading(0.06, 0.08, 1.2));

    Snapshot settled = reading(0.12, 0.02, 6.2);
    settled.stage = Stage::settled;
    settled.next_note = "middle A";
    settled.settled_count = 28;
    add("settled", settled);

    settled.keeping = Keeping::held;
    settled.kept_count = 27;
    settled.open_count = 2;
    add("held", settled);
    settled.keeping = Keeping::kept;
    settled.kept_count = 28;
    add("kept", settled);

    settled.wait = Seconds{214.0};
    settled.again_count = 5;
    add("let-cool", settled);
    add("all-done", at_the_end(0, 0));
    add("two-stay-open", at_the_end(2, 3));
    add("many-stay-open", at_the_end(9, 0));

    Snapshot faulty = base();
    faulty.keeping = Keeping::not_yet;
    faulty.kept_count = 12;
    faulty.open_count = 1;
    faulty.notices = {{false, "Noted: slow of speech."}};
    faulty.chest[20].out_of_reach = true;
    faulty.chest[21].faulty = true;
    add("faulty", faulty);
    Snapshot full = reading(1.7, 0.04, 3.0);
    full.keeping = Keeping::not_yet;
    full.notices = {{true,
                     "The disk is full: 3 readings are held. Make room; they are written by "
                     "themselves."}};
    add("book-full", full);

    add("waiting", base());
    Snapshot speaking = base();
    speaking.stage = Stage::speaking;
    add("speaking", speaking);
    Snapshot wrong = base();
    wrong.stage = Stage::wrong_key;
    wrong.heard_note = "tenor E";
    add("wrong-key", wrong);
    Snapshot held = advised(reading(-2.6, 0.06, 3.3), PipeKind::chimney, Material::metal,
                            TuningDevice::ears, way(Way::out, "ears out"));
    held.stage = Stage::disturbed;
    add("disturbed", held);

    Snapshot gone = base();
    gone.notices = {
        {true, "The microphone is gone. Plug it in again: listening goes on by itself."}};
    gone.level_words = "no signal at all";
    gone.level_bad = true;
    gone.dropped_frames = 14336;
    add("device-gone", gone);
    Snapshot clipped = advised(reading(21.5, 0.1, 7.7), PipeKind::string, Material::metal,
                               TuningDevice::scroll, way(Way::up, "scroll up"));
    clipped.notices = {{true,
                        "The microphone is overloaded: move it away or lower the input. The pitch "
                        "still holds."}};
    clipped.level_words = "overloaded";
    clipped.level_bad = true;
    add("overloaded", clipped);

    Snapshot long_names = advised(reading(-148.0, 2.4, 0.4), PipeKind::reed_half, Material::metal,
                                  TuningDevice::resonator_sleeve,
                                  way(Way::down, "resonator sleeve down",
                                      "it works together with the wire, and changes the strength"),
                                  "about three and a half taps like the last");
    long_names.stop = "Auxiliary Floating Positive Division · Contra Bassoon of the Crypt 10 2/3′";
    long_names.note = "C♯ in altissimo";
    long_names.then = "then C♯ · D♯ · F · G";
    long_names.stops_on = {"Contra Bassoon of the Crypt 10 2/3′", "Grosse Quinte ouverte 5 1/3′",
                           "Octave 4′"};
    long_names.level_words = "too quiet: move nearer";
    long_names.level_bad = true;
    long_names.overruns = 12;
    long_names.notices = {{false,
                           "Mains hum in the input: check the cable, and keep the laptop's "
                           "power supply away from the microphone's lead."}};
    long_names.simulated = true;
    long_names.settled_count = 1048;
    long_names.pipe_count = 2205;
    add("long-names", long_names);

    const auto wire = way(Way::up, "wire up", "settle the spring afterwards: it creeps");
    add("beating-sharp", advised(beating(0.42, 0.02, 5.0), PipeKind::reed_full, Material::metal,
                                 TuningDevice::reed_wire, wire, "about one tap like the last"));
    Snapshot under = beating(0.01, 0.02, 6.0);
    under.beat->under = Hertz{0.05};
    add("beating-under", under);
    Snapshot celeste = advised(beating(1.3, 0.03, 4.0, 1.8), PipeKind::string, Material::metal,
                               TuningDevice::scroll, way(Way::down, "scroll down"));
    celeste.stop = "Swell · Celeste 8′";
    celeste.reference = "Salicional 8′";
    celeste.job = "from Salicional 8′, by beats";
    add("beating-celeste", celeste);
    Snapshot copied = beating(-3.1, 0.05, 2.0);
    copied.reference_deviation = Cents{-4.2};
    copied.notices = {{false,
                       "Octave 4′ is 4.2 cents flat: what is tuned from it copies that. "
                       "Tune it first, or go on if the rank follows it."}};
    add("beating-copied", copied);
    Snapshot unanswered = advised(beating(4.2, 0.05, 6.0), PipeKind::open, Material::metal,
                                  TuningDevice::sleeve, way(Way::up, "sleeve up"));
    unanswered.unanswered = true;
    unanswered.notices = {{true,
                           "Nothing heard changes. If this pipe was moved, another sounds in its "
                           "place: check the stop, look for a cipher, hear it alone."}};
    add("beating-unanswered", unanswered);
    Snapshot two_keys = beating(0.8, 0.02, 3.0);
    two_keys.stop = "Great · Clarion 4′";
    two_keys.reference = "Clarion 4′";
    two_keys.job = "from itself, by beats";
    two_keys.stops_on = {"Clarion 4′"};
    two_keys.also_note = "tenor G";
    add("beating-two-keys", two_keys);
    two_keys.also_where = "Auxiliary Floating Positive";
    two_keys.stops_on = {"Auxiliary Floating Positive · Octave 4′", "Clarion 4′"};
    add("beating-two-manuals", two_keys);
    Snapshot alone = base();
    alone.stage = Stage::reference;
    alone.job = "from Octave 4′, by beats";
    alone.reference = "Octave 4′";
    alone.reference_deviation = Cents{2.1};
    add("reference-alone", alone);
    Snapshot pulled = beating(0.02, 0.01, 3.0);
    pulled.pulled_together = true;
    add("pulled-together", pulled);
    Snapshot in_tune = beating(0.02, 0.02, 6.0);
    in_tune.beat->under = Hertz{0.05};
    in_tune.stage = Stage::settled;
    add("beating-settled", in_tune);

    Snapshot harmonic = advised(reading(-1.3, 0.05, 7.9), PipeKind::harmonic, Material::metal,
                                TuningDevice::slide, way(Way::down, "slide down"), "about 0.5 mm");
    harmonic.notices = {{false, "Still moving: hands off, wait."}};
    harmonic.chest = chest(30, 12, 20);
    harmonic.simulated = true;
    add("harmonic-pedal", harmonic);
    Snapshot cut =
        advised(reading(5.1, 0.05, 3.0), PipeKind::open, Material::metal, TuningDevice::none,
                way(Way::none, "no device: cut to length, too sharp"));
    add("no-device", cut);
    add("mixture-tuning",
        at_a_mixture(advised(reading(-4.2, 0.05, 3.0), PipeKind::open, Material::metal,
                             TuningDevice::cone, way(Way::out, "cone out"))));
    Snapshot leak = at_a_mixture(reading(1.1, 0.2, 3.0));
    leak.mixture->pipes[2].leak = Decibels{-22.0};
    leak.notices = {{false, "The mute in 1 1/3′ leaks: heard 22 dB under 2′. Press it home."}};
    add("mixture-leak", leak);
    Snapshot wrong_pipe = at_a_mixture(base());
    wrong_pipe.stage = Stage::wrong_key;
    wrong_pipe.mixture->instead = "1 1/3′";
    add("mixture-wrong-pipe", wrong_pipe);
    wrong_pipe.mixture->instead = "2 2/3′ of C in altissimo";
    add("mixture-other-key", wrong_pipe);
    wrong_pipe.mixture->to_mute = "2 2/3′, 1 1/3′, 1′ row 4, 1′ row 5";
    add("mixture-mutes-missing", wrong_pipe);
    Snapshot mute_next = at_a_mixture(reading(0.1, 0.03, 4.0));
    mute_next.stage = Stage::settled;
    add("mixture-settled", mute_next);
    mute_next.mixture->next_note = "tenor C♯";
    add("mixture-next-key", mute_next);
    Snapshot whole = at_a_mixture(base());
    whole.stage = Stage::reading;
    whole.mixture->none_muted = whole.mixture->heard_whole = true;
    whole.mixture->mutes_in = 0;
    for (KeyPipe& pipe : whole.mixture->pipes)
        pipe.muted = pipe.current = false;
    whole.mixture->pipes[2].suspect = 1;
    whole.mixture->pipes[3].silent = true;
    add("mixture-whole", whole);
    whole.mixture->pipes[2].suspect = 0;
    whole.mixture->pipes[2].deviation = Cents{0.1};
    whole.mixture->pipes[3].silent = false;
    whole.mixture->pipes[3].untold = "behind 2′";
    whole.mixture->to_tell = "1′ may hide behind 2′: mute that to hear it.";
    add("mixture-untold", whole);
    whole.mixture->pipes[2].pitch = "1 1/3′ row 3";
    whole.mixture->pipes[3] = whole.mixture->pipes[2];
    whole.mixture->pipes[3].pitch = "1 1/3′ row 4";
    for (const std::size_t i : {2U, 3U}) {
        whole.mixture->pipes[i].feet = "1 1/3′";
        whole.mixture->pipes[i].either = "row 3 or 4";
    }
    whole.mixture->pipes[3].deviation = Cents{-6.3};
    whole.mixture->pipes[3].suspect = 1;
    whole.mixture->pipes[2].suspect = 2;
    add("mixture-either-row", whole);
    Snapshot survey = played_through(reading(3.2, 0.2, 1.4));
    add("survey", survey);
    survey.survey->sounding = false;
    survey.survey->stage = SurveyView::Stage::working_out;
    add("survey-over", survey);
    survey.survey->stage = SurveyView::Stage::done;
    survey.survey->proposed = 23;
    survey.survey->missing.clear();
    add("survey-done", survey);
    survey.survey->stage = SurveyView::Stage::playing;
    survey.survey->findings = {"another stop is drawn"};
    survey.survey->not_kept =
        "nothing is kept of it: another stop was drawn than the one asked for";
    survey.survey->missing =
        "CC, DD, EE, FF♯, GG♯, AA♯, bass C, bass D, bass E, bass F♯, bass G♯, "
        "bass A♯, tenor C, tenor D, tenor E, tenor F♯ to C in altissimo";
    add("survey-wrong-stop", survey);
    Snapshot not_begun = base();
    not_begun.survey.emplace();
    not_begun.survey->missing = "CC to C in altissimo";
    add("survey-not-begun", not_begun);
    add("nothing-known", Snapshot{});
    return out;
}

}  // namespace rankwright::overlay::examples

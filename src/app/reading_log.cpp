#include "app/reading_log.h"

#include "app/json_output.h"

#include <cmath>
#include <cstdio>
#include <iostream>

namespace rankwright::app {

namespace {

using overlay::Snapshot;
using overlay::Stage;

const char* word(Stage stage) {
    switch (stage) {
        case Stage::waiting:
            return "waiting";
        case Stage::reference:
            return "reference";
        case Stage::speaking:
            return "speaking";
        case Stage::reading:
            return "reading";
        case Stage::moving:
            return "moving";
        case Stage::disturbed:
            return "disturbed";
        case Stage::wrong_key:
            return "wrong key";
        case Stage::settled:
            return "settled";
    }
    return "";
}

// What is worth a line as soon as it changes.
std::string words_of(const overlay::MixtureKey& key) {
    std::string words = key.in_hand + "/" + key.instead + "/" + key.to_mute;
    for (const overlay::KeyPipe& pipe : key.pipes)
        words += std::to_string(pipe.suspect) + (pipe.leak ? "leaks" : "");
    return words + (key.heard_whole ? "heard" : "");
}

Json mixture_json(const overlay::MixtureKey& key) {
    Json out;
    out["in_hand"] = key.in_hand;
    out["none_muted"] = key.none_muted;
    out["heard_whole"] = key.heard_whole;
    out["mutes_in"] = key.mutes_in;
    out["instead"] = key.instead.empty() ? Json(nullptr) : Json(key.instead);
    out["to_mute"] = key.to_mute.empty() ? Json(nullptr) : Json(key.to_mute);
    out["pipes"] = Json::array();
    for (const overlay::KeyPipe& pipe : key.pipes) {
        Json one;
        one["pitch"] = pipe.pitch;
        one["muted"] = pipe.muted;
        one["settled"] = pipe.settled;
        one["cents"] = or_null(pipe.deviation);
        one["leak_db"] = or_null(pipe.leak);
        one["silent"] = pipe.silent;
        one["suspect"] = pipe.suspect;
        out["pipes"].push_back(std::move(one));
    }
    return out;
}

const char* word(overlay::SurveyView::Stage stage) {
    using SurveyStage = overlay::SurveyView::Stage;
    return stage == SurveyStage::playing ? "playing"
           : stage == SurveyStage::done  ? "done"
                                         : "working out";
}

std::string words_of(const overlay::SurveyView& survey) {
    std::string words = std::to_string(survey.heard) + word(survey.stage);
    for (const std::string& finding : survey.findings)
        words += "/" + finding;
    return words;
}

Json survey_json(const overlay::SurveyView& survey) {
    return {{"stage", word(survey.stage)},
            {"sounding", survey.sounding},
            {"heard", survey.heard},
            {"missing", survey.missing},
            {"last_cents", or_null(survey.last_time)},
            {"findings", survey.findings},
            {"proposed", survey.proposed},
            {"not_kept", survey.not_kept.empty() ? Json(nullptr) : Json(survey.not_kept)}};
}

std::string words_of(const overlay::BookView& book) {
    return "/" + std::to_string(book.folders.size()) + "/" + std::to_string(book.books.size()) +
           "/" + std::to_string(book.exports.size()) + "/" + book.busy + "/" + book.said;
}

Json book_json(const overlay::BookView& book) {
    return {{"folders", book.folders},
            {"books", book.books},
            {"exports", book.exports},
            {"busy", book.busy.empty() ? Json(nullptr) : Json(book.busy)},
            {"said", book.said.empty() ? Json(nullptr) : Json(book.said)},
            {"failed", book.failed}};
}

void print_json(const Snapshot& s, Seconds now) {
    Json line;
    line["at_s"] = now.count();
    line["stop"] = s.stop;
    line["key"] = s.key;
    line["note"] = s.note;
    line["stage"] = word(s.stage);
    line["target_hz"] = or_null(s.target);
    line["hz"] = or_null(s.pitch);
    line["cents"] = or_null(s.deviation);
    line["cents_sd"] = or_null(s.uncertainty);
    line["beat_hz"] = s.beat ? Json(s.beat->rate.value()) : or_null(s.beats);
    if (!s.reference.empty()) {
        line["reference"] = s.reference;
        line["reference_cents"] = or_null(s.reference_deviation);
        line["beat_wanted_hz"] = s.beat ? Json(s.beat->target.value()) : Json(nullptr);
        line["beat_sd"] = s.beat ? Json(s.beat->uncertainty.value()) : Json(nullptr);
        line["under_hz"] = s.beat ? or_null(s.beat->under) : Json(nullptr);
        line["pulled_together"] = s.pulled_together;
    }
    line["heard_s"] = s.heard.count();
    line["move"] = s.advice.words.empty() ? Json(nullptr) : Json(s.advice.words);
    line["amount"] = s.amount.empty() ? Json(nullptr) : Json(s.amount);
    if (s.mixture) line["mixture"] = mixture_json(*s.mixture);
    if (s.survey) line["survey"] = survey_json(*s.survey);
    line["settled"] = s.settled_count;
    line["kept"] = s.kept_count;
    line["open"] = s.open_count;
    line["hear_again"] = s.again_count;
    line["book_trouble"] = s.book_trouble.empty() ? Json(nullptr) : Json(s.book_trouble);
    line["pipes"] = s.pipe_count;
    line["list_to_do"] = s.list ? Json(s.list->to_do) : Json(nullptr);
    line["book"] = book_json(s.tuning_book);
    std::cout << line.dump(-1, ' ', false, Json::error_handler_t::replace) << std::endl;
}

void print_words(const overlay::SurveyView& survey, int pipes) {
    std::printf("; %d of %d heard", survey.heard, pipes);
    if (survey.stage != overlay::SurveyView::Stage::playing)
        std::printf(", %s", word(survey.stage));
    if (!survey.findings.empty()) std::printf("; %s", survey.findings.front().c_str());
}

void print_words(const Snapshot& s, Seconds now) {
    std::printf("%6.1f s  %-14s %-10s", now.count(), s.note.c_str(), word(s.stage));
    if (s.mixture) std::printf(" %-8s", s.mixture->in_hand.c_str());
    if (s.stage == Stage::wrong_key)
        std::printf("  %s sounds", s.mixture && !s.mixture->instead.empty()
                                       ? s.mixture->instead.c_str()
                                       : s.heard_note.c_str());
    if (s.mixture && !s.mixture->to_mute.empty())
        std::printf("; mute %s", s.mixture->to_mute.c_str());
    const bool figure = s.deviation && s.uncertainty && s.stage != Stage::waiting;
    if (figure) {
        const double cents = s.deviation->value();
        std::printf("  %s %.2f cents ± %.2f", cents > 0.0 ? "sharp" : "flat", std::abs(cents),
                    s.uncertainty->value());
        const auto beats = s.beat ? std::optional{s.beat->rate} : s.beats;
        if (beats) std::printf(", %.2f beats a second", std::abs(beats->value()));
        if (!s.advice.words.empty())
            std::printf("; %s%s%s", s.advice.words.c_str(), s.amount.empty() ? "" : ", ",
                        s.amount.c_str());
    }
    if (s.survey) print_words(*s.survey, s.pipe_count);
    std::printf("\n");
    std::fflush(stdout);
}

}  // namespace

void ReadingLog::add(const Snapshot& snapshot, Seconds now) {
    constexpr Seconds kEvery{0.5};
    std::string state = snapshot.stop + snapshot.note + word(snapshot.stage);
    if (snapshot.list) state += std::to_string(snapshot.list->to_do);
    if (snapshot.mixture) state += words_of(*snapshot.mixture);
    if (snapshot.survey) state += words_of(*snapshot.survey);
    if (form_ == Form::json) state += words_of(snapshot.tuning_book);
    const bool figure = snapshot.deviation && snapshot.stage != Stage::waiting;
    if (state == last_ && !(figure && now - printed_ >= kEvery)) return;
    last_ = state;
    printed_ = now;
    if (form_ == Form::json)
        print_json(snapshot, now);
    else
        print_words(snapshot, now);
}

}  // namespace rankwright::app

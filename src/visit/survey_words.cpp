#include "visit/survey_words.h"

#include "core/text.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

namespace {

bool of_the_whole(FindingKind kind) { return kind <= FindingKind::not_played; }

std::string count_words(std::size_t off, std::size_t heard) {
    return std::to_string(off) + " of " + std::to_string(heard);
}

std::string off_words(Cents off) {
    return text_of(
        {decimal(std::abs(off.value()), 1), off < Cents{0.0} ? " cents flat" : " cents sharp"});
}

std::string brief_words(const Finding& finding) {
    const std::string note = finding.pipe ? finding.pipe->note : "";
    switch (finding.kind) {
        case FindingKind::wrong_stop:
            return "another stop is drawn";
        case FindingKind::second_pipe:
            return "two pipes with each key";
        case FindingKind::semitone_doubtful:
            return "keys perhaps one off";
        case FindingKind::tremulant:
            return "tremulant is on";
        case FindingKind::day:
            return "thermometer disagrees";
        case FindingKind::trend:
            return (finding.of_sides ? "C♯ side " : "rank ") + off_words(*finding.deviation);
        case FindingKind::hidden:
            return "keys hidden by a cipher";
        case FindingKind::not_played:
            return {};  // the keys still to come
        case FindingKind::cipher:
            return note + " ciphers";
        case FindingKind::missing:
            return note + (finding.sounded ? " not read: play it alone" : " silent or skipped");
        case FindingKind::octave:
            return note + " overblows";
        case FindingKind::off_speech:
            return note + " off speech";
        case FindingKind::no_key:
            return "a strange tone";
        case FindingKind::out_of_tune:
            return note + " " + off_words(*finding.deviation);
    }
    return {};
}

}  // namespace

ToldSurvey told(const std::vector<Finding>& findings, std::size_t heard, std::size_t most) {
    ToldSurvey told;
    std::size_t off = 0;
    bool trend = false;
    for (const Finding& finding : findings) {
        trend = trend || finding.kind == FindingKind::trend;
        if (of_the_whole(finding.kind)) {
            told.whole.push_back(finding.words);
        } else if (finding.kind != FindingKind::out_of_tune) {
            told.pipes.push_back(finding.words);
        } else if (++off; told.worst.size() < most) {
            told.worst.push_back(finding.words);
        }
    }
    told.others = off - told.worst.size();
    if (off > 0)
        told.tuning = count_words(off, heard) +
                      " pipes stand outside their tolerance and beat faster than once in three "
                      "seconds" +
                      (trend ? ", measured from where the rank or their side stands" : "");
    return told;
}

std::vector<std::string> brief(const std::vector<Finding>& findings, std::size_t heard) {
    std::vector<std::string> whole, pipes, tuning;
    for (const Finding& finding : findings) {
        std::string words = brief_words(finding);
        if (words.empty()) continue;
        (of_the_whole(finding.kind)                 ? whole
         : finding.kind == FindingKind::out_of_tune ? tuning
                                                    : pipes)
            .push_back(std::move(words));
    }
    if (!tuning.empty()) whole.push_back(count_words(tuning.size(), heard) + " out of tune");
    whole.insert(whole.end(), pipes.begin(), pipes.end());
    whole.insert(whole.end(), tuning.begin(), tuning.end());
    return whole;
}

std::string notes_of(const std::vector<organ::Pipe>& pipes) {
    std::string list;
    for (std::size_t i = 0; i < pipes.size(); ++i) {
        std::size_t end = i;
        while (end + 1 < pipes.size() && pipes[end + 1].key == pipes[end].key + 1)
            ++end;
        list += list.empty() ? "" : ", ";
        list += pipes[i].note;
        if (end > i) list += " to " + pipes[end].note;
        i = end;
    }
    return list;
}

}  // namespace rankwright::visit

#include "report/advice.h"

#include "core/text.h"
#include "organ/air.h"
#include "visit/record.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace rankwright::report {

namespace {

using visit::DriftBasis;
using visit::RankDrift;

std::string device_words(const organ::Pipe* pipe) {
    using organ::TuningDevice;
    if (pipe == nullptr) return "what holds its tuning";
    switch (pipe->make.device) {
        case TuningDevice::sleeve:
        case TuningDevice::slide:
            return "whether its sleeve grips";
        case TuningDevice::cap:
            return "whether its cap is tight";
        case TuningDevice::stopper:
            return "whether its stopper is tight";
        case TuningDevice::scroll:
            return "its scroll";
        case TuningDevice::shade:
        case TuningDevice::flap:
            return "whether its flap stays where it is put";
        case TuningDevice::reed_wire:
        case TuningDevice::resonator_sleeve:
        case TuningDevice::resonator_scroll:
            return "whether its wire holds, and for dirt under the tongue";
        case TuningDevice::cone:
        case TuningDevice::ears:
        case TuningDevice::none:
            break;
    }
    return "for damage and dirt at its mouth and foot";
}

std::string basis_words(DriftBasis basis) {
    switch (basis) {
        case DriftBasis::pitch:
            return "What the air did is taken out by the A that the references told at both "
                   "visits: a rank is seen against them.";
        case DriftBasis::thermometers:
            return "What the air did is taken out by the thermometers of both visits; a kelvin "
                   "misread moves all flues by some 3 cents alike, so ranks are to be seen against "
                   "each other.";
        case DriftBasis::given_pitch:
            return "What the air did is taken out by the A that was given at the visits.";
        case DriftBasis::none:
            break;
    }
    return "Neither a thermometer nor an A was noted at both visits: pipes are compared within "
           "their rank only.";
}

void add_references(const VisitReport& report, const visit::Record& record, const PipeWords& words,
                    std::vector<std::string>& advice) {
    struct Astray {
        Cents off;
        std::size_t copies = 0;
    };
    std::map<PipeId, Astray> astray;
    for (const RankLines& rank : report.ranks) {
        for (const PipeLine& line : rank.pipes) {
            const auto& after = record.of(line.pipe).after;
            if (!after || !after->reference || !after->reference_deviation) continue;
            const double off = std::abs(after->reference_deviation->value());
            const double doubt = after->reference_uncertainty.value_or(Cents{0.0}).value();
            if (!(off > line.tolerance.value() + 2.0 * doubt)) continue;
            Astray& one = astray[*after->reference];
            one.off = *after->reference_deviation;
            ++one.copies;
        }
    }
    constexpr std::size_t kNamed = 8;
    std::string list;
    std::size_t named = 0;
    for (const auto& [pipe, one] : astray) {
        if (++named > kNamed) continue;
        list += text_of({list.empty() ? "" : "; ", words.pipe(pipe), ", ", off_words(one.off), " (",
                         count_words(one.copies, "pipe"), " tuned from it)"});
    }
    if (named > kNamed) list += text_of({"; and ", std::to_string(named - kNamed), " more"});
    if (!list.empty())
        advice.push_back(
            "References that stood off their own targets; what was tuned from them "
            "agrees with them and shares their error. Put these right first next "
            "time: " +
            list + ".");
}

void add_drift(const VisitReport& report, const PipeWords& words,
               std::vector<std::string>& advice) {
    for (const RankLines& rank : report.ranks) {
        if (!rank.drift) continue;
        if (rank.drift->restless) {
            advice.push_back(rank.name +
                             ": most of its pipes moved against one another since they were left. "
                             "Have wind, seating and tuning devices of the rank looked at before "
                             "it is tuned again.");
            continue;
        }
        std::map<std::string, std::string> by_device;
        for (const visit::PipeDrift& pipe : rank.drift->pipes) {
            if (!pipe.astray) continue;
            std::string& list = by_device[device_words(words.find(pipe.pipe))];
            list += text_of({list.empty() ? "" : ", ", words.note(pipe.pipe), " (",
                             drift_words(pipe.own), ")"});
        }
        for (const auto& [device, list] : by_device)
            advice.push_back(text_of({rank.name, ": did not hold since the last visit: ", list,
                                      ". Look ", device, "."}));
    }
}

// What was put right again and again, and didn't stay.
void add_unstable(const VisitReport& report, const PipeWords& words,
                  std::vector<std::string>& advice) {
    for (const RankLines& rank : report.ranks)
        for (const PipeLine& line : rank.pipes)
            if (line.unstable)
                advice.push_back(
                    text_of({rank.name, ", ", line.note,
                             ": called again and again, it never stayed where it was "
                             "put. Look ",
                             device_words(words.find(line.pipe)), ", and how it speaks."}));
}

void add_left_over(const VisitReport& report, std::vector<std::string>& advice) {
    std::size_t open = 0, reach = 0, faulty = 0, warm = 0, creep = 0;
    for (const RankLines& rank : report.ranks) {
        open += rank.count(Outcome::open) + rank.count(Outcome::not_heard);
        reach += rank.count(Outcome::out_of_reach);
        faulty += rank.count(Outcome::faulty);
        for (const PipeLine& line : rank.pipes) {
            warm += line.warm ? 1U : 0U;
            creep += line.creeps ? 1U : 0U;
        }
    }
    if (open > 0)
        advice.push_back(text_of(
            {"Begin next time with the ", count_words(open, "pipe"), " left open or not heard."}));
    if (reach > 0)
        advice.push_back(
            text_of({"Plan safe access to the ", count_words(reach, "pipe"), " out of reach."}));
    if (faulty > 0)
        advice.push_back(text_of({count_words(faulty, "pipe"), faulty == 1 ? " needs" : " need",
                                  " repair before tuning can help: see the faults above."}));
    if (warm > 0)
        advice.push_back(text_of({count_words(warm, "pipe"), warm == 1 ? " was" : " were",
                                  " still warm from the hand when heard last, and may read some "
                                  "tenths of a cent flat when cool."}));
    if (creep > 0)
        advice.push_back(text_of({"The wires of ", count_words(creep, "reed"),
                                  " were driven far and still crept when heard last: hear ",
                                  creep == 1 ? "it" : "them", " again."}));
}

// Beside the reference, or else anywhere.
Celsius last_air(const VisitReport& report, const Matter& matter) {
    Celsius last = report.air.back().air;
    for (const visit::BookEntry& entry : visit::counted(matter.entries))
        if (const auto* air = std::get_if<visit::AirReading>(&entry.matter);
            air != nullptr && air->place.empty())
            last = air->air;
    return last;
}

void add_heat(const VisitReport& report, const Matter& matter, std::vector<std::string>& advice) {
    if (report.air.empty()) {
        advice.push_back(
            "No temperature was noted. Next time, read thermometers at pipe level in every "
            "division, and have the organ heated as for a service well before.");
        return;
    }
    const auto [coolest, warmest] =
        std::minmax_element(report.air.begin(), report.air.end(),
                            [](const AirLine& a, const AirLine& b) { return a.air < b.air; });
    std::string words;
    if (warmest->air - coolest->air > Celsius{1.0})
        words = text_of({"The air ranged from ", organ::celsius_text(coolest->air), " (",
                         coolest->place, ") to ", organ::celsius_text(warmest->air), " (",
                         warmest->place,
                         ") during the visit: ranks tuned in different air will "
                         "not agree in the same. "});
    const Celsius last = last_air(report, matter);
    if (report.home_air && std::abs((last - *report.home_air).value()) > 2.0)
        words +=
            text_of({"The organ is kept to its pitch at ", organ::celsius_text(*report.home_air),
                     " and was tuned at ", organ::celsius_text(last),
                     ": reeds and flues part as the air comes back. "});
    advice.push_back(words +
                     "Have the organ heated as for a service, and the heat left alone, "
                     "from the day before the next visit.");
}

// Of what the air explains, the most.
Cents furthest_air(const VisitReport& report) {
    Cents most{0.0};
    for (const RankLines& rank : report.ranks)
        if (rank.drift)
            for (const visit::PipeDrift& pipe : rank.drift->pipes)
                if (std::abs(pipe.air.value()) > std::abs(most.value())) most = pipe.air;
    return most;
}

}  // namespace

std::vector<std::string> drift_sentences(const VisitReport& report) {
    std::vector<std::string> sentences;
    DriftBasis basis = DriftBasis::pitch;
    std::size_t compared = 0, astray = 0;
    for (const RankLines& rank : report.ranks) {
        if (!rank.drift) continue;
        basis = std::max(basis, rank.drift->basis);
        compared += rank.drift->pipes.size();
        for (const visit::PipeDrift& pipe : rank.drift->pipes)
            astray += pipe.astray ? 1U : 0U;
    }
    if (compared == 0) return sentences;
    sentences.push_back(text_of(
        {count_words(compared, "pipe"), " could be compared with how they were left before; ",
         astray == 0 ? "none" : std::to_string(astray), " clearly did not hold."}));
    sentences.push_back(basis_words(basis));
    const bool all_known =
        std::all_of(report.ranks.begin(), report.ranks.end(),
                    [](const RankLines& rank) { return !rank.drift || rank.drift->kinds_known; });
    const Cents air = furthest_air(report);
    if (!all_known && basis != DriftBasis::none)
        sentences.push_back(text_of(
            {"Which of these pipes are reeds is not known, so all were taken for flues, which the "
             "air moved by up to ",
             decimal(std::abs(air.value()), 1),
             " cents. Reeds follow the air less: a rank of reeds seems to have moved by most of "
             "that the other way, and flue trebles of a reed rank against it."}));
    for (const RankLines& rank : report.ranks) {
        if (!rank.drift || !rank.drift->moved) continue;
        sentences.push_back(
            text_of({rank.name, " as a whole stands ", drift_words(*rank.drift->trend),
                     " than it was left (± ", decimal(rank.drift->trend_doubt.value(), 1),
                     "): a trend of the rank, not of single pipes."}));
    }
    return sentences;
}

std::vector<std::string> advice(const VisitReport& report, const Matter& matter,
                                const PipeWords& words) {
    std::vector<std::string> all;
    add_left_over(report, all);
    add_unstable(report, words, all);
    add_drift(report, words, all);
    add_references(report, visit::Record(matter.entries), words, all);
    add_heat(report, matter, all);
    return all;
}

std::vector<std::string> cautions() {
    return {
        "Local safety codes, and the practice of those licensed for electrical, gas and structural "
        "work, come before anything in this report.",
        "Nobody should enter the chamber, climb to the pipes or touch them without knowing the "
        "ladders and walkboards; pipes are no handholds. Nobody works there alone out of earshot.",
        "Blower, wiring and heating are for those licensed to work on them; the blower is isolated "
        "before boxes or belts are opened. Shades and pneumatics move without warning.",
        "Pipe metal contains lead: wash hands after touching it, and keep food away.",
        "Heat and humidity should change slowly; quick heating harms wood, leather and glue.",
    };
}

}  // namespace rankwright::report

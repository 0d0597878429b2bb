#include "app/bearings_output.h"

#include "app/columns.h"
#include "organ/note.h"

#include <cmath>
#include <cstdio>

namespace rankwright::app {

namespace {

organ::StopRef stop_of(const organ::Instrument& instrument) {
    return organ::stop_by_id(instrument, instrument.bearings->division, instrument.bearings->stop);
}

std::vector<organ::BeatingInterval> table_of(const organ::Instrument& instrument,
                                             const organ::Day& day) {
    return organ::beat_table(instrument, stop_of(instrument), instrument.bearings->first_key,
                             instrument.bearings->last_key, day);
}

Json intervals_json(const std::vector<organ::BeatingInterval>& intervals) {
    Json list = Json::array();
    for (const organ::BeatingInterval& one : intervals)
        list.push_back({{"interval", one.interval->name},
                        {"low_key", one.low_key},
                        {"high_key", one.high_key},
                        {"beat_hz", one.beat.value()}});
    return list;
}

}  // namespace

Result<std::vector<organ::BearingStep>> bearings_of(const organ::Instrument& instrument,
                                                    const organ::Day& day) {
    if (!instrument.bearings)
        return fail(ErrorKind::bad_input,
                    instrument.name +
                        " has no bearings in its file: add  bearings = { stop = \"…\", from = "
                        "\"tenor F\", to = \"middle F\" }");
    return organ::bearings_plan(instrument, day);
}

Json bearings_json(const organ::Instrument& instrument,
                   const std::vector<organ::BearingStep>& steps, const organ::Day& day) {
    const organ::StopRef stop = stop_of(instrument);
    const auto note = [&](int key) {
        return organ::note_name(stop.division->lowest_midi + key - 1);
    };
    Json list = Json::array();
    for (const organ::BearingStep& step : steps) {
        const bool first = step.key == step.from;
        const auto reference = organ::reference_of(instrument, step, day);
        const auto pipe = organ::pipe_of(stop, step.key);
        list.push_back(
            {{"key", step.key},
             {"note", note(step.key)},
             {"from_key", first ? Json(nullptr) : Json(step.from)},
             {"from_note", first ? Json(nullptr) : Json(note(step.from))},
             {"interval", first ? Json(nullptr) : Json(step.to_set.interval->name)},
             {"from_partial", reference ? Json(reference->reference_partial) : Json(nullptr)},
             {"partial", reference ? Json(reference->pipe_partial) : Json(nullptr)},
             {"beat_hz", first ? Json(nullptr) : Json(step.to_set.beat.value())},
             {"sharp_hz", first ? Json(nullptr) : Json(step.key_beat.value())},
             {"hz", organ::target(instrument, *pipe, day).value()},
             {"checks", intervals_json(step.checks)}});
    }
    return list;
}

Json beat_table_json(const organ::Instrument& instrument, const organ::Day& day) {
    return intervals_json(table_of(instrument, day));
}

void print_bearings(const organ::Instrument& instrument,
                    const std::vector<organ::BearingStep>& steps, const organ::Day& day) {
    const organ::StopRef stop = stop_of(instrument);
    const int lowest = stop.division->lowest_midi;
    std::printf("\nBearings on %s · %s, %s\n", stop.division->name.c_str(), stop.stop->name.c_str(),
                instrument.temperament.name.c_str());
    int number = 0;
    for (const organ::BearingStep& step : steps) {
        const std::string note = padded(organ::note_name(lowest + step.key - 1), 10);
        if (step.key == step.from) {
            std::printf("%3d  %s to its own pitch\n", ++number, note.c_str());
            continue;
        }
        std::printf("%3d  %s %s\n", ++number, note.c_str(),
                    organ::to_words(step.to_set, lowest).c_str());
        for (const organ::BeatingInterval& check : step.checks)
            std::printf("%16scheck: %s\n", "", organ::to_words(check, lowest).c_str());
    }
    std::printf("\nAll intervals of the octave\n");
    for (const organ::BeatingInterval& interval : table_of(instrument, day))
        std::printf("  %s\n", organ::to_words(interval, lowest).c_str());
}

}  // namespace rankwright::app

#include "organ/instrument.h"
#include "organ/note.h"

#include <algorithm>
#include <cassert>

namespace rankwright::organ {

namespace {

// The last of the ascending ranges that begins at or below `key` (the first one when none does).
template <typename Range>
const Range& range_at(const std::vector<Range>& ranges, int key) {
    assert(!ranges.empty());
    const auto after =
        std::upper_bound(ranges.begin(), ranges.end(), key,
                         [](int k, const Range& range) { return k < range.first_key; });
    return after == ranges.begin() ? *after : *(after - 1);
}

Pipe pipe_at(const StopRef& ref, int row, int key, const Footage& footage) {
    const Stop& stop = *ref.stop;
    Pipe pipe;
    pipe.id = {ref.division->id, stop.id, row, key};
    pipe.division = ref.division->name;
    pipe.stop = stop.name;
    pipe.key = key;
    pipe.midi = ref.division->lowest_midi + key - 1;
    pipe.note = note_name(pipe.midi);
    pipe.ratio = footage.ratio();
    pipe.tempered = stop.tempered && !footage.octave_sounding();
    if (stop.celeste) pipe.celeste_beat = stop.celeste->beat_at(key);
    if (!stop.makes.empty()) pipe.make = range_at(stop.makes, key).make;
    return pipe;
}

std::vector<Pipe> own_pipes(const StopRef& ref, int last_key) {
    const Stop& stop = *ref.stop;
    std::vector<Pipe> out;
    if (!stop.mixture()) {
        for (int key = stop.first_key; key <= last_key; ++key)
            out.push_back(pipe_at(ref, 1, key, stop.footage));
        return out;
    }
    std::size_t most = 0;
    for (const Composition& composition : stop.composition)
        most = std::max(most, composition.rows.size());
    for (std::size_t row = 0; row < most; ++row)
        for (int key = stop.first_key; key <= last_key; ++key) {
            const std::vector<Footage>& rows = range_at(stop.composition, key).rows;
            if (row < rows.size())
                out.push_back(pipe_at(ref, static_cast<int>(row) + 1, key, rows[row]));
        }
    return out;
}

std::vector<Pipe> borrowed_pipes(const StopRef& ref) {
    const Stop& stop = *ref.stop;
    assert(ref.instrument != nullptr);
    const StopRef owner = stop_by_id(*ref.instrument, stop.borrowed->division, stop.borrowed->stop);
    assert(owner.stop != nullptr && !owner.stop->borrowed);
    // The owner's key that sounds what key 1 sounds here, less one.
    const int keys_up = ref.division->lowest_midi - owner.division->lowest_midi +
                        stop.footage.semitones() - owner.stop->footage.semitones();
    std::vector<Pipe> out;
    for (Pipe& pipe : own_pipes(owner, owner.stop->last_key + owner.stop->extra_pipes)) {
        const int key = pipe.key - keys_up;
        if (key < stop.first_key || key > stop.last_key) continue;
        const bool octaves = owner.stop->footage.octave_sounding() && !owner.stop->mixture();
        pipe.division = ref.division->name;
        pipe.stop = stop.name;
        pipe.key = key;
        pipe.midi = ref.division->lowest_midi + key - 1;
        pipe.note = note_name(pipe.midi);
        if (octaves) {
            // A fifth taken from a rank that sounds octaves can only be as tempered as that rank.
            pipe.ratio = stop.footage.ratio();
            pipe.tempered = !stop.footage.octave_sounding();
        } else {
            pipe.ratio *= stop.footage.ratio() / owner.stop->footage.ratio();
        }
        out.push_back(std::move(pipe));
    }
    return out;
}

}  // namespace

Hertz Celeste::beat_at(int key) const {
    assert(!beats.empty());
    const auto above =
        std::upper_bound(beats.begin(), beats.end(), key,
                         [](int k, const CelesteBeat& beat) { return k < beat.key; });
    if (above == beats.begin()) return above->rate;
    const CelesteBeat& below = *(above - 1);
    if (above == beats.end()) return below.rate;
    const double share = static_cast<double>(key - below.key) / (above->key - below.key);
    return below.rate + (above->rate - below.rate) * share;
}

std::vector<Pipe> pipes(const StopRef& stop) {
    return stop.stop->borrowed ? borrowed_pipes(stop) : own_pipes(stop, stop.stop->last_key);
}

std::vector<Pipe> pipes(const Instrument& instrument) {
    std::vector<Pipe> out;
    for (const Division& division : instrument.divisions)
        for (const Stop& stop : division.stops) {
            if (stop.borrowed) continue;
            std::vector<Pipe> own =
                own_pipes({&division, &stop, &instrument}, stop.last_key + stop.extra_pipes);
            std::move(own.begin(), own.end(), std::back_inserter(out));
        }
    return out;
}

}  // namespace rankwright::organ

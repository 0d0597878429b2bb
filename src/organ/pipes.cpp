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

// The stop that has the pipes of a borrowed one.
StopRef owner_of(const StopRef& borrowed) {
    assert(borrowed.instrument != nullptr);
    const StopRef owner = stop_by_id(*borrowed.instrument, borrowed.stop->borrowed->division,
                                     borrowed.stop->borrowed->stop);
    assert(owner.stop != nullptr && !owner.stop->borrowed);
    return owner;
}

// The owner's key that sounds what `key` sounds on the stop that borrows.
int owners_key(const StopRef& stop, const StopRef& owner, int key) {
    return key + stop.division->lowest_midi - owner.division->lowest_midi +
           stop.stop->footage.semitones() - owner.stop->footage.semitones();
}

// An owner's pipe as the stop that borrows it plays it with `key`.
Pipe played_by(const StopRef& stop, const StopRef& owner, int key, Pipe pipe) {
    pipe.division = stop.division->name;
    pipe.stop = stop.stop->name;
    pipe.key = key;
    pipe.midi = stop.division->lowest_midi + key - 1;
    pipe.note = note_name(pipe.midi);
    if (owner.stop->footage.octave_sounding() && !owner.stop->mixture()) {
        // A fifth taken from a rank that sounds octaves can only be as tempered as that rank.
        pipe.ratio = stop.stop->footage.ratio();
        pipe.tempered = !stop.stop->footage.octave_sounding();
    } else {
        pipe.ratio *= stop.stop->footage.ratio() / owner.stop->footage.ratio();
    }
    return pipe;
}

std::vector<Pipe> borrowed_pipes(const StopRef& stop) {
    const StopRef owner = owner_of(stop);
    const int keys_up = owners_key(stop, owner, 0);
    std::vector<Pipe> out;
    for (Pipe& pipe : own_pipes(owner, owner.stop->last_key + owner.stop->extra_pipes)) {
        const int key = pipe.key - keys_up;
        if (key < stop.stop->first_key || key > stop.stop->last_key) continue;
        out.push_back(played_by(stop, owner, key, std::move(pipe)));
    }
    return out;
}

// Pipes beyond the owner's keys are called by a stop that can play them.
void name_by_players(std::vector<Pipe>& own, const StopRef& owner) {
    for (const Division& division : owner.instrument->divisions)
        for (const Stop& stop : division.stops) {
            if (!stop.borrowed || stop.borrowed->division != owner.division->id ||
                stop.borrowed->stop != owner.stop->id)
                continue;
            for (Pipe& played : borrowed_pipes({&division, &stop, owner.instrument})) {
                const auto index = static_cast<std::size_t>(played.id.key - owner.stop->first_key);
                if (played.id.key > owner.stop->last_key && own[index].key == played.id.key)
                    own[index] = std::move(played);
            }
        }
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

std::optional<OwnPipe> own_pipe(const StopRef& stop, int key) {
    if (key < stop.stop->first_key || key > stop.stop->last_key) return std::nullopt;
    if (!stop.stop->borrowed) return OwnPipe{stop, key};
    const StopRef owner =
        stop_by_id(*stop.instrument, stop.stop->borrowed->division, stop.stop->borrowed->stop);
    if (owner.stop == nullptr || owner.stop->borrowed) return std::nullopt;
    const int number = owners_key(stop, owner, key);
    const Stop& rank = *owner.stop;
    if (number < rank.first_key || number > rank.last_key + rank.extra_pipes) return std::nullopt;
    return OwnPipe{owner, number};
}

std::optional<Pipe> pipe_of(const StopRef& stop, int key, int row) {
    const auto own = own_pipe(stop, key);
    if (!own || row < 1) return std::nullopt;
    const Stop& rank = *own->owner.stop;
    Footage footage = rank.footage;
    if (rank.mixture()) {
        const auto index = static_cast<std::size_t>(row - 1);
        const std::vector<Footage>& rows = range_at(rank.composition, own->number).rows;
        if (index >= rows.size()) return std::nullopt;
        footage = rows[index];
    } else if (row != 1) {
        return std::nullopt;
    }
    Pipe pipe = pipe_at(own->owner, row, own->number, footage);
    return stop.stop->borrowed ? played_by(stop, own->owner, key, std::move(pipe)) : pipe;
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
            if (stop.extra_pipes > 0) name_by_players(own, {&division, &stop, &instrument});
            std::move(own.begin(), own.end(), std::back_inserter(out));
        }
    return out;
}

}  // namespace rankwright::organ

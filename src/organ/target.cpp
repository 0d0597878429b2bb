#include "organ/target.h"

#include "organ/air.h"

#include <cmath>

namespace rankwright::organ {

namespace {

constexpr int kMidiA = 69;

std::size_t pitch_class(int midi) { return static_cast<std::size_t>(((midi % 12) + 12) % 12); }

// The note `midi` of an 8′ rank.
Hertz unison(const Temperament& temperament, int midi, Hertz a) {
    return transpose(a, Cents{100.0 * (midi - kMidiA)} + temperament.from_equal[pitch_class(midi)]);
}

}  // namespace

Hertz pitch_of(const Instrument& instrument, const Day& day) {
    if (day.pitch) return *day.pitch;
    if (!day.temperature) return instrument.a;
    return transpose(instrument.a, flue_shift(instrument.at, *day.temperature));
}

Hertz target(const Instrument& instrument, const Pipe& pipe, const Day& day) {
    const Hertz a = pitch_of(instrument, day);
    if (pipe.tempered) {
        const int sounding =
            pipe.midi + static_cast<int>(std::lround(12.0 * std::log2(pipe.ratio)));
        return unison(instrument.temperament, sounding, a) + pipe.celeste_beat;
    }
    return unison(instrument.temperament, pipe.midi, a) * pipe.ratio + pipe.celeste_beat;
}

}  // namespace rankwright::organ

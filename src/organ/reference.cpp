#include "organ/reference.h"

#include "core/text.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <numeric>

namespace rankwright::organ {

namespace {

// A quarter tone off, an interval is no longer heard as the simple one; and each step to higher
// partials must gain at least this much to be worth it (tempered thirds are 14 cents off 5:4, which
// must win over 19:15 and the like).
constexpr double kQuarterTone = 50.0;
constexpr double kCentsAPartial = 3.0;

std::string how_to_call(const Pipe& reference, const Pipe& pipe) {
    const int keys = reference.midi - pipe.midi;
    std::string where = "the same key";
    if (keys != 0 && keys % 12 == 0) {
        const int octaves = std::abs(keys) / 12;
        where = octaves == 1 ? "an octave" : text_of({std::to_string(octaves), " octaves"});
        where += keys < 0 ? " below" : " above";
    } else if (keys != 0) {
        where = text_of({std::to_string(std::abs(keys)), keys < 0 ? " keys below" : " keys above"});
    }
    const bool itself = reference.id.division == pipe.id.division &&
                        reference.id.stop == pipe.id.stop && reference.stop == pipe.stop;
    return text_of({"from ", itself ? "itself" : reference.stop, ", ", where});
}

Hertz without_beat(Hertz target, const Pipe& pipe) { return target - pipe.celeste_beat; }

}  // namespace

std::optional<Meeting> meeting_of(Cents pipe_above_reference) {
    constexpr int kHighest = 16;
    std::optional<Meeting> best;
    double best_cost = 0.0;
    for (int n = 1; n <= kHighest; ++n)
        for (int m = 1; m <= kHighest; ++m) {
            if (std::gcd(m, n) != 1) continue;
            const double off =
                std::abs(pipe_above_reference.value() - 1200.0 * std::log2(double(m) / n));
            if (off > kQuarterTone) continue;
            const double cost = off + kCentsAPartial * (m + n);
            if (best && cost >= best_cost) continue;
            best = Meeting{m, n};
            best_cost = cost;
        }
    return best;
}

std::optional<Reference> reference_of(const Instrument& instrument, const Pipe& pipe,
                                      const Day& day) {
    const StopRef own = stop_by_id(instrument, pipe.id.division, pipe.id.stop);
    if (own.stop == nullptr || own.stop->tuned_from.empty()) return std::nullopt;
    const TunedFrom* range = nullptr;
    for (const TunedFrom& candidate : own.stop->tuned_from)
        if (candidate.first_key <= pipe.id.key) range = &candidate;
    if (range == nullptr) return std::nullopt;
    const StopRef other = stop_by_id(instrument, range->division, range->stop);
    if (other.stop == nullptr) return std::nullopt;
    // The reference key counts from the pipe's own key on its owner's keyboard.
    const int midi = own.division->lowest_midi + pipe.id.key - 1 + range->semitones;
    auto reference = pipe_of(other, midi - other.division->lowest_midi + 1);
    if (!reference) return std::nullopt;
    const Hertz theirs = target(instrument, *reference, day);
    const Hertz ours = target(instrument, pipe, day);
    // Where a celeste's partials meet its mate's is decided by what both would be without the beat,
    // which is a quarter tone and more at the bottom.
    const auto meeting =
        meeting_of(interval(without_beat(theirs, *reference), without_beat(ours, pipe)));
    if (!meeting) return std::nullopt;
    Reference out;
    out.reference_partial = meeting->reference_partial;
    out.pipe_partial = meeting->pipe_partial;
    out.beat = ours * meeting->pipe_partial - theirs * meeting->reference_partial;
    out.words = how_to_call(*reference, pipe);
    out.pipe = std::move(*reference);
    return out;
}

}  // namespace rankwright::organ

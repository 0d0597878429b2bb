// What stops, rows and pipes are called in the report.
#pragma once

#include "core/pipe_id.h"
#include "organ/instrument.h"

#include <map>
#include <optional>
#include <string>

namespace rankwright::report {

/// Names from the instrument file; without one, from the words of the ids themselves.
class PipeWords {
  public:
    /// The instrument, where there is one, must outlive this.
    explicit PipeWords(const organ::Instrument* instrument);

    /// "Great · Octave 4′".
    std::string stop(const StopId& stop) const;
    /// The same, with "row 2" for a mixture's.
    std::string rank(const StopId& stop, int row = 1) const;
    /// "tenor C"; "key 13" where nothing tells.
    std::string note(const PipeId& pipe) const;
    /// "Great · Octave 4′, tenor C".
    std::string pipe(const PipeId& pipe) const;
    /// The same of a key that a remark names.
    std::string place(const std::optional<StopId>& stop, std::optional<int> key) const;
    /// Where a thermometer hangs: a division's name, or "beside the reference".
    std::string thermometer(const std::string& division) const;
    /// As the instrument file describes it; null when it doesn't.
    const organ::Pipe* find(const PipeId& pipe) const;
    const organ::Stop* find(const StopId& stop) const;
    /// How the ranks follow each other in the instrument file; ranks that it lacks come last.
    std::size_t order(const StopId& stop) const;

  private:
    const organ::Instrument* instrument_;
    std::map<PipeId, organ::Pipe> pipes_;
    std::map<StopId, std::size_t> order_;
};

}  // namespace rankwright::report

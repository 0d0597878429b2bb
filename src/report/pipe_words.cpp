#include "report/pipe_words.h"

#include "core/text.h"

#include <utility>

namespace rankwright::report {

PipeWords::PipeWords(const organ::Instrument* instrument) : instrument_(instrument) {
    if (instrument == nullptr) return;
    for (organ::Pipe& pipe : organ::pipes(*instrument)) {
        order_.try_emplace({pipe.id.division, pipe.id.stop}, order_.size());
        pipes_.emplace(pipe.id, std::move(pipe));
    }
}

const organ::Pipe* PipeWords::find(const PipeId& pipe) const {
    const auto found = pipes_.find(pipe);
    return found == pipes_.end() ? nullptr : &found->second;
}

const organ::Stop* PipeWords::find(const StopId& stop) const {
    return instrument_ == nullptr ? nullptr
                                  : organ::stop_by_id(*instrument_, stop.division, stop.stop).stop;
}

std::size_t PipeWords::order(const StopId& stop) const {
    const auto found = order_.find(stop);
    return found == order_.end() ? order_.size() : found->second;
}

std::string PipeWords::stop(const StopId& stop) const {
    const organ::StopRef known = instrument_ == nullptr
                                     ? organ::StopRef{}
                                     : organ::stop_by_id(*instrument_, stop.division, stop.stop);
    return text_of({known.division != nullptr ? known.division->name : stop.division, " · ",
                    known.stop != nullptr ? known.stop->name : stop.stop});
}

std::string PipeWords::rank(const StopId& stop, int row) const {
    const organ::Stop* known = find(stop);
    const bool mixture = known != nullptr ? known->mixture() : row > 1;
    return this->stop(stop) + (mixture ? ", row " + std::to_string(row) : "");
}

std::string PipeWords::note(const PipeId& pipe) const {
    const organ::Pipe* known = find(pipe);
    return known != nullptr ? known->note : "key " + std::to_string(pipe.key);
}

std::string PipeWords::pipe(const PipeId& pipe) const {
    return rank({pipe.division, pipe.stop}, pipe.row) + ", " + note(pipe);
}

std::string PipeWords::place(const std::optional<StopId>& stop, std::optional<int> key) const {
    if (!stop) return key ? "key " + std::to_string(*key) : "the organ";
    if (!key) return this->stop(*stop);
    return this->stop(*stop) + ", " + note({stop->division, stop->stop, 1, *key});
}

std::string PipeWords::thermometer(const std::string& division) const {
    if (division.empty()) return "beside the reference";
    if (instrument_ != nullptr)
        for (const organ::Division& one : instrument_->divisions)
            if (one.id == division) return one.name;
    return division;
}

}  // namespace rankwright::report

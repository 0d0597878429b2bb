#include "visit/record.h"

#include "core/overloaded.h"

#include <algorithm>
#include <cassert>
#include <utility>

namespace rankwright::visit {

namespace {

// What one press or one moment of the work notes together.
constexpr std::chrono::milliseconds kOneBreath{50};

void note_reading(PipeRecord& pipe, const KeptReading& reading, std::uint64_t serial) {
    switch (reading.moment) {
        case Moment::survey:
            pipe.survey = reading;
            pipe.survey_serial = serial;
            break;
        case Moment::before:
            pipe.before = reading;
            break;
        case Moment::after:
            pipe.after = reading;
            pipe.after_serial = serial;
            break;
    }
}

}  // namespace

std::optional<PipeId> pipe_of(const BookMatter& matter) {
    const Overloaded visitor{[](const KeptReading& m) { return std::optional{m.pipe}; },
                             [](const Fault& m) { return std::optional{m.pipe}; },
                             [](const OutOfReach& m) { return std::optional{m.pipe}; },
                             [](const ListChange& m) { return std::optional{m.pipe}; },
                             [](const auto&) { return std::optional<PipeId>{}; }};
    return std::visit(visitor, matter);
}

// From the last to the first: what withdraws comes after what it withdraws.
std::set<std::uint64_t> withdrawn_in(std::span<const BookEntry> entries) {
    std::set<std::uint64_t> withdrawn;
    for (auto entry = entries.rbegin(); entry != entries.rend(); ++entry) {
        const auto* undone = std::get_if<Withdrawal>(&entry->matter);
        if (undone != nullptr && withdrawn.count(entry->serial) == 0)
            withdrawn.insert(undone->serial);
    }
    return withdrawn;
}

std::vector<BookEntry> counted(std::span<const BookEntry> entries) {
    const auto withdrawn = withdrawn_in(entries);
    std::vector<BookEntry> all;
    for (const BookEntry& entry : entries)
        if (!std::holds_alternative<Withdrawal>(entry.matter) && withdrawn.count(entry.serial) == 0)
            all.push_back(entry);
    return all;
}

Record::Record(std::vector<BookEntry> earlier) : entries_(std::move(earlier)) {
    for (std::size_t i = 0; i < entries_.size(); ++i)
        assert(entries_[i].serial == i + 1);
    owed_from_ = entries_.size();
    acknowledged_ = entries_.size();
    rebuild();
}

std::uint64_t Record::add(WallTime at, BookMatter matter) {
    entries_.push_back({entries_.size() + 1, at, std::move(matter)});
    if (std::holds_alternative<Withdrawal>(entries_.back().matter))
        rebuild();
    else
        note(entries_.back());
    return entries_.back().serial;
}

std::vector<BookEntry> Record::take_owed() {
    const auto from = entries_.begin() + static_cast<std::ptrdiff_t>(owed_from_);
    owed_from_ = entries_.size();
    return {from, entries_.end()};
}

void Record::acknowledge(std::uint64_t serial) {
    assert(serial <= entries_.size());
    acknowledged_ = std::max(acknowledged_, serial);
}

const PipeRecord& Record::of(const PipeId& pipe) const {
    static const PipeRecord kNothing;
    const auto found = pipes_.find(pipe);
    return found == pipes_.end() ? kNothing : found->second;
}

bool Record::kept(const PipeId& pipe) const {
    const PipeRecord& known = of(pipe);
    return known.after && known.after_serial <= acknowledged_;
}

std::optional<PipeId> Record::latest_of(const StopId& stop) const {
    const auto found = latest_of_.find(stop);
    return found == latest_of_.end() ? std::nullopt : std::optional{found->second};
}

bool does_not_stay(const PipeRecord& pipe) {
    constexpr int kOften = 8;
    return pipe.left_to_be_heard_again >= kOften;
}

bool reference_moved_since(const Record& record, const PipeId& pipe,
                           const std::optional<PipeId>& named) {
    const PipeRecord& known = record.of(pipe);
    if (known.list != ListState::hear_again || !known.after) return false;
    const std::optional<PipeId> from = known.after->reference ? known.after->reference : named;
    return from && record.of(*from).after_serial > known.after_serial;
}

std::optional<PipeId> Record::undo(WallTime at) {
    const auto last = std::find_if(entries_.rbegin(), entries_.rend(), [&](const BookEntry& entry) {
        const auto* remark = std::get_if<Remark>(&entry.matter);
        const bool complaint = remark != nullptr && remark->complaint;
        return (complaint || pipe_of(entry.matter)) && !withdrawn(entry.serial);
    });
    if (last == entries_.rend()) return std::nullopt;
    if (const auto* complaint = std::get_if<Remark>(&last->matter)) {
        const StopId about = complaint->stop.value_or(StopId{});
        const PipeId pipe{about.division, about.stop, 1, complaint->key.value_or(0)};
        add(at, Withdrawal{last->serial});
        return pipe;
    }
    const PipeId pipe = *pipe_of(last->matter);
    const auto* change = std::get_if<ListChange>(&last->matter);
    const bool left = change != nullptr &&
                      (change->state == ListState::open || change->state == ListState::done ||
                       change->state == ListState::hear_again);
    std::vector<std::uint64_t> together;
    for (auto entry = last; entry != entries_.rend(); ++entry) {
        const bool same_breath = last->at - entry->at <= kOneBreath;
        const bool as_left = left && entry->serial == of(pipe).after_serial;
        if ((same_breath || as_left) && pipe_of(entry->matter) == pipe && !withdrawn(entry->serial))
            together.push_back(entry->serial);
    }
    for (const std::uint64_t serial : together)
        add(at, Withdrawal{serial});
    return pipe;
}

bool Record::withdrawn(std::uint64_t serial) const { return withdrawn_.count(serial) > 0; }

void Record::rebuild() {
    pipes_.clear();
    latest_of_.clear();
    latest_.reset();
    latest_surveyed_.reset();
    withdrawn_ = withdrawn_in(entries_);
    for (const BookEntry& entry : entries_)
        if (!withdrawn(entry.serial)) note(entry);
}

void Record::note(const BookEntry& entry) {
    const auto pipe = pipe_of(entry.matter);
    if (!pipe) return;
    PipeRecord& known = pipes_[*pipe];
    const Overloaded visitor{[&](const KeptReading& m) { note_reading(known, m, entry.serial); },
                             [&](const Fault& m) { known.faults.push_back(m); },
                             [&](const OutOfReach& m) { known.out_of_reach = m.out_of_reach; },
                             [&](const ListChange& m) {
                                 known.list = m.state;
                                 known.list_serial = entry.serial;
                                 if (m.state == ListState::hear_again)
                                     ++known.left_to_be_heard_again;
                                 if (m.state == ListState::open) ++known.left_open;
                             },
                             [](const auto&) {}};
    std::visit(visitor, entry.matter);
    const auto* reading = std::get_if<KeptReading>(&entry.matter);
    if (reading == nullptr) return;
    if (reading->moment == Moment::survey) {
        latest_surveyed_ = pipe;
        return;
    }
    latest_of_[{pipe->division, pipe->stop}] = *pipe;
    latest_ = pipe;
}

}  // namespace rankwright::visit

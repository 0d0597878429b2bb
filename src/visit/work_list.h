// Which pipes are to be tuned, and why.
#pragma once

#include "organ/instrument.h"
#include "visit/book_entry.h"
#include "visit/drift.h"

#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace rankwright::visit {

/// What earlier visits tell.
struct ListHistory {
    DatedReadings left;               ///< each pipe as it was left last, before this visit
    std::vector<RankDrift> earlier;   ///< what pipes did between the last visit and those before it
    std::map<PipeId, WallTime> open;  ///< left open by the last visit, or wanted and not done: when
};

struct ListedPipe {
    organ::Pipe pipe;              ///< under the key that plays it
    std::vector<std::string> why;  ///< in words, what weighs most first; never empty
    std::optional<Cents> off;      ///< from where its rank stands, as it was heard last
    /// How much of its beating with the ensemble is heard, 0 to 1 (tuning/audibility.h); 1 for a
    /// pipe that is dead or ciphers.
    double audibility = 0.0;
    bool complaint = false;  ///< the client complained of it
    ListState state = ListState::proposed;
    bool out_of_reach = false;

    /// Work is left there: it is neither dropped nor out of reach.
    bool to_do() const { return state != ListState::dropped && !out_of_reach; }
};

struct WorkList {
    /// Those with work left first: complaints of the client, then the most audible (common
    /// practice, no source); after them what is out of reach, and what was dropped.
    std::vector<ListedPipe> pipes;
    /// What concerns more than a pipe: a rank gone one way, a complaint about a stop or the organ.
    std::vector<std::string> remarks;
    std::size_t done = 0;  ///< pipes tuned in this visit: they leave the list

    std::size_t to_do() const;
};

/// The list of a visit, from its entries in order. On it is a pipe
/// - that the survey proposed or the technician wants, until it is done;
/// - that was heard out of tune (visit/findings.h), or clearly moved since it was left last;
/// - of which the client complained, or that has a fault and wasn't tuned;
/// - that moved between the visits before, while it hasn't been heard in this one;
/// - that the last visit left open, unless it was heard in tune in this one;
/// - that was left open, or is to be heard again when it has cooled.
/// What was done or dropped comes back only by another entry. Entries about pipes that the
/// instrument doesn't have are passed over.
WorkList work_list(const organ::Instrument& instrument, std::span<const BookEntry> entries,
                   const ListHistory& history = {});

/// Pipes that a visit left open, or that were wanted and not done: `ListHistory::open`.
std::map<PipeId, WallTime> left_open(std::span<const BookEntry> entries);

/// The pipes with work left, in the order in which they are worked at: organ::order_of_work.
std::vector<organ::Pipe> for_the_feet(const organ::Instrument& instrument, const WorkList& list);

}  // namespace rankwright::visit

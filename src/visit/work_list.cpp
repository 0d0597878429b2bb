#include "visit/work_list.h"

#include "core/text.h"
#include "organ/reference.h"
#include "organ/tuning_order.h"
#include "tuning/audibility.h"
#include "visit/findings.h"
#include "visit/record.h"
#include "visit/wall_time.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <map>
#include <set>
#include <utility>

namespace rankwright::visit {

namespace {

std::string cents_text(Cents cents) { return decimal(std::abs(cents.value()), 1) + " cents"; }
const char* sharp_or_flat(Cents cents) { return cents < Cents{0.0} ? "flat" : "sharp"; }
/// Beats to read: finely while slow.
std::string beats_text(Hertz beat) {
    const double rate = std::abs(beat.value());
    return decimal(rate, rate < 1.0 ? 2 : 1) + " a second";
}

/// "May 2026".
std::string month_of(WallTime at) {
    static constexpr std::array kMonths{"January",   "February", "March",    "April",
                                        "May",       "June",     "July",     "August",
                                        "September", "October",  "November", "December"};
    const std::string text = to_text(at);
    unsigned month = 1;
    std::from_chars(text.data() + 5, text.data() + 7, month);
    return text_of({kMonths.at(month - 1), " ", text.substr(0, 4)});
}

bool usable(const KeptReading& reading) {
    return std::isfinite(reading.deviation.value()) && std::isfinite(reading.target.value()) &&
           std::isfinite(reading.uncertainty.value()) && reading.target > Hertz{0.0};
}

/// Both are heard by everybody, whatever else sounds.
bool grave(const Fault& fault) { return fault.fault == "dead" || fault.fault == "ciphers"; }
constexpr double kOtherFault = 0.5;  // audibility: between what beats a little and what is dead

struct Figure {
    Cents off;  ///< from where the rank stands
    Cents uncertainty;
    Hertz right;  ///< where the rank has it
};

class Lister {
  public:
    Lister(const organ::Instrument& instrument, std::span<const BookEntry> entries,
           const ListHistory& history)
        : instrument_(instrument),
          entries_(entries.begin(), entries.end()),
          record_(entries_),
          history_(history) {
        for (organ::Pipe& pipe : organ::pipes(instrument))
            pipes_.emplace(pipe.id, std::move(pipe));
        for (const BookEntry& entry : counted(entries_))
            if (const auto* reading = std::get_if<KeptReading>(&entry.matter);
                reading != nullptr && usable(*reading))
                latest_[reading->pipe] = *reading;
    }

    WorkList list() {
        find_trends();
        find_complaints();
        find_drifts();
        for (const auto& [id, pipe] : pipes_)
            consider(pipe);
        const auto weight = [](const ListedPipe& one) {
            return std::tuple(one.to_do(), one.out_of_reach, one.complaint, one.audibility);
        };
        std::stable_sort(list_.pipes.begin(), list_.pipes.end(),
                         [&](const auto& a, const auto& b) { return weight(a) > weight(b); });
        return std::move(list_);
    }

  private:
    const organ::Pipe* find(const PipeId& id) const {
        const auto found = pipes_.find(id);
        return found == pipes_.end() ? nullptr : &found->second;
    }

    void find_trends() {
        std::map<std::pair<StopId, int>, std::vector<Stood>> ranks;
        for (const auto& [id, pipe] : pipes_)
            if (const auto& survey = record_.of(id).survey; survey && usable(*survey))
                ranks[{{id.division, id.stop}, id.row}].push_back({pipe.midi, survey->deviation});
        for (const auto& [rank, stood] : ranks) {
            const auto& [stop, row] = rank;
            const auto ref = organ::stop_by_id(instrument_, stop.division, stop.stop);
            const Trends trends = trends_of(ref, stood);
            trends_[rank] = trends;
            const std::string name = text_of({ref.division->name, " · ", ref.stop->name,
                                              ref.stop->mixture() ? ", row " : "",
                                              ref.stop->mixture() ? std::to_string(row) : ""});
            say_trends(name, trends);
        }
    }

    void say_trends(const std::string& name, const Trends& trends) {
        if (trends.rank != Cents{0.0})
            list_.remarks.push_back(
                text_of({name, " stands ", cents_text(trends.rank), " ", sharp_or_flat(trends.rank),
                         " as a whole: temperature or wind, not its single pipes, which are judged "
                         "from there"}));
        if (!trends.c_side) return;
        const Cents apart = *trends.sharp_side - *trends.c_side;
        list_.remarks.push_back(
            text_of({"the C♯ side of ", name, " stands ", cents_text(apart), " ",
                     sharp_or_flat(apart), " of its C side: temperature or wind on one side"}));
    }

    void find_complaints() {
        for (const BookEntry& entry : counted(entries_)) {
            const auto* remark = std::get_if<Remark>(&entry.matter);
            if (remark == nullptr || !remark->complaint) continue;
            const auto ref = remark->stop ? organ::stop_by_id(instrument_, remark->stop->division,
                                                              remark->stop->stop)
                                          : organ::StopRef{};
            bool of_a_pipe = false;
            if (ref.stop != nullptr && remark->key)
                for (int row = 1; const auto pipe = organ::pipe_of(ref, *remark->key, row); ++row) {
                    complaints_[pipe->id].push_back({entry.serial, remark->words});
                    of_a_pipe = true;
                }
            if (of_a_pipe) continue;
            const std::string about =
                ref.stop == nullptr ? "the organ" : ref.division->name + " · " + ref.stop->name;
            const std::string key = remark->key ? ", key " + std::to_string(*remark->key) : "";
            list_.remarks.push_back(text_of({"complaint about ", about, key, ": ", remark->words}));
        }
    }

    void find_drifts() {
        const VisitReadings today = readings_of({}, entries_);
        for (const RankDrift& rank : drift_between(history_.left, today.found, &instrument_))
            for (const PipeDrift& pipe : rank.pipes)
                if (pipe.astray) moved_[pipe.pipe] = {pipe, "since " + month_of(pipe.since)};
        for (const RankDrift& rank : history_.earlier)
            for (const PipeDrift& pipe : rank.pipes)
                if (pipe.astray && today.found.count(pipe.pipe) == 0)
                    moved_[pipe.pipe] = {
                        pipe, text_of({"between ", month_of(pipe.since), " and the last visit"})};
    }

    /// As it was heard last.
    std::optional<Figure> figure_of(const organ::Pipe& pipe) const {
        const auto heard = latest_.find(pipe.id);
        if (heard == latest_.end()) return std::nullopt;
        const KeptReading& reading = heard->second;
        Cents trend{0.0};
        const auto found = trends_.find({StopId{pipe.id.division, pipe.id.stop}, pipe.id.row});
        if (reading.moment == Moment::survey && found != trends_.end())
            trend = found->second.of(pipe.midi);
        return Figure{reading.deviation - trend, reading.uncertainty,
                      transpose(reading.target, trend)};
    }

    /// Outside its tolerance, and clearly so, whether that is heard or not.
    static bool stands_off(const Figure& figure) {
        return std::abs(figure.off.value()) > std::max(tuning::tolerance_at(figure.right).value(),
                                                       2.0 * figure.uncertainty.value());
    }

    void consider(const organ::Pipe& pipe) {
        const PipeRecord& known = record_.of(pipe.id);
        const bool tuned_since =
            known.after && known.after->settled && known.after_serial > known.list_serial;
        const bool asked = known.list == ListState::proposed || known.list == ListState::wanted;
        if (known.list == ListState::done || (tuned_since && known.list != ListState::open)) {
            const auto complaints = complaints_.find(pipe.id);
            const std::uint64_t at = std::max(known.list_serial, known.after_serial);
            const bool anew =
                complaints != complaints_.end() && complaints->second.back().serial > at;
            ++list_.done;
            if (!anew) return;
            --list_.done;
        }
        ListedPipe one;
        one.pipe = pipe;
        one.state = known.list.value_or(ListState::proposed);
        if (one.state == ListState::done) one.state = ListState::wanted;
        one.out_of_reach = known.out_of_reach;
        explain(one, known);
        const bool decided = known.list && !asked;  // open, to be heard again, dropped
        if (one.why.empty() && !asked && !decided && !one.out_of_reach) return;
        add_state(one, known);
        list_.pipes.push_back(std::move(one));
    }

    /// Why it should be on the list, whatever its state.
    void explain(ListedPipe& one, const PipeRecord& known) const {
        const PipeId& id = one.pipe.id;
        if (const auto complaints = complaints_.find(id); complaints != complaints_.end()) {
            one.complaint = true;
            for (const Complaint& complaint : complaints->second)
                one.why.push_back("complaint: " + complaint.words);
        }
        for (const Fault& fault : known.faults) {
            if (known.after && !known.list) break;
            one.why.push_back(fault.words.empty() ? fault.fault : fault.fault + ": " + fault.words);
            one.audibility = std::max(one.audibility, grave(fault) ? 1.0 : kOtherFault);
        }
        const auto figure = figure_of(one.pipe);
        const auto moved = moved_.find(id);
        if (figure) {
            one.off = figure->off;
            one.audibility =
                std::max(one.audibility, tuning::audibility(figure->right, figure->off));
            const bool heard = out_of_tune(figure->right, figure->off, figure->uncertainty);
            const bool asked_for = known.list || !one.why.empty() || moved != moved_.end();
            if (heard || (asked_for && stands_off(*figure)))
                one.why.push_back(tuning_words(one.pipe, *figure));
        }
        explain_open(one, figure);
        if (moved != moved_.end() && (!figure || stands_off(*figure))) {
            const Cents own = moved->second.drift.own;
            one.why.push_back(
                text_of({"moved ", cents_text(own), " ", own < Cents{0.0} ? "flatter " : "sharper ",
                         moved->second.when}));
            if (!figure) {
                const Hertz right = organ::target(instrument_, one.pipe, {});
                one.audibility = std::max(one.audibility, tuning::audibility(right, own));
            }
        }
    }

    /// The last visit couldn't finish it.
    void explain_open(ListedPipe& one, const std::optional<Figure>& figure) const {
        const auto open = history_.open.find(one.pipe.id);
        if (open == history_.open.end() || (figure && !stands_off(*figure))) return;
        one.why.push_back("left open in " + month_of(open->second));
        const auto left = history_.left.find(one.pipe.id);
        if (!figure && left != history_.left.end() && usable(left->second.reading))
            one.audibility = std::max(
                one.audibility,
                tuning::audibility(left->second.reading.target, left->second.reading.deviation));
    }

    /// What its state says of itself, and what the technician should know before the work.
    void add_state(ListedPipe& one, const PipeRecord& known) const {
        const auto reference = organ::reference_of(instrument_, one.pipe, {});
        if (one.state == ListState::hear_again)
            one.why = {
                reference_moved_since(record_, one.pipe.id,
                                      reference ? std::optional{reference->pipe.id} : std::nullopt)
                    ? "its reference was moved since: to be heard again"
                : one.pipe.make.reed() ? "its wire was driven far and creeps on: to be heard again"
                                       : "warm from the hand when it was left: to be heard again"};
        if (one.state == ListState::open)
            one.why.insert(one.why.begin(),
                           does_not_stay(known)
                               ? "left open: called again and again, it never stayed"
                               : "left open");
        if (one.state == ListState::dropped) one.why.insert(one.why.begin(), "dropped");
        if (one.out_of_reach) one.why.insert(one.why.begin(), "out of reach");
        if (one.why.empty())
            one.why.emplace_back(known.list == ListState::wanted ? "added by hand"
                                                                 : "proposed by the survey");
        const organ::Pipe* from = reference ? find(reference->pipe.id) : nullptr;
        const auto figure = from != nullptr ? figure_of(*from) : std::nullopt;
        if (one.to_do() && figure && stands_off(*figure))
            one.why.push_back(text_of({"its reference, ", from->stop, " ", from->note, ", stands ",
                                       cents_text(figure->off), " ", sharp_or_flat(figure->off)}));
    }

    std::string tuning_words(const organ::Pipe& pipe, const Figure& figure) const {
        const Hertz beat = transpose(figure.right, figure.off) - figure.right;
        std::string words = text_of({cents_text(figure.off), " ", sharp_or_flat(figure.off),
                                     ": beats ", beats_text(beat), " with the ensemble"});
        const auto reference = organ::reference_of(instrument_, pipe, {});
        if (reference && reference->pipe_partial > 1)
            words +=
                text_of({", ", beats_text(reference->pipe_partial * beat), " with its reference"});
        return words;
    }

    struct Complaint {
        std::uint64_t serial;
        std::string words;
    };
    struct Moved {
        PipeDrift drift;
        std::string when;
    };

    const organ::Instrument& instrument_;
    std::vector<BookEntry> entries_;
    Record record_;
    const ListHistory& history_;
    std::map<PipeId, organ::Pipe> pipes_;
    std::map<PipeId, KeptReading> latest_;
    std::map<std::pair<StopId, int>, Trends> trends_;
    std::map<PipeId, std::vector<Complaint>> complaints_;
    std::map<PipeId, Moved> moved_;
    WorkList list_;
};

}  // namespace

std::size_t WorkList::to_do() const {
    return static_cast<std::size_t>(std::count_if(
        pipes.begin(), pipes.end(), [](const ListedPipe& one) { return one.to_do(); }));
}

std::map<PipeId, WallTime> left_open(std::span<const BookEntry> entries) {
    const Record record({entries.begin(), entries.end()});
    std::map<PipeId, WallTime> open;
    for (const BookEntry& entry : counted(entries)) {
        const auto pipe = pipe_of(entry.matter);
        if (!pipe) continue;
        const PipeRecord& known = record.of(*pipe);
        const bool unsettled = known.after && !known.after->settled;
        const bool left = known.list == ListState::open ||
                          (known.list == ListState::wanted && (!known.after || unsettled)) ||
                          (unsettled && !known.list);
        if (left && !known.out_of_reach) open[*pipe] = entry.at;
    }
    return open;
}

WorkList work_list(const organ::Instrument& instrument, std::span<const BookEntry> entries,
                   const ListHistory& history) {
    return Lister(instrument, entries, history).list();
}

std::vector<organ::Pipe> for_the_feet(const organ::Instrument& instrument, const WorkList& list) {
    std::vector<organ::Pipe> pipes;
    for (const ListedPipe& one : list.pipes)
        if (one.to_do()) pipes.push_back(one.pipe);
    return organ::order_of_work(instrument, std::move(pipes));
}

}  // namespace rankwright::visit

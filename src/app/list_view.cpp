#include "app/list_view.h"

#include <algorithm>
#include <set>

namespace rankwright::app {

namespace {

overlay::ListLine line_of(const visit::ListedPipe& one) {
    overlay::ListLine line;
    line.pipe = one.pipe.id;
    line.stop = one.pipe.division + " · " + one.pipe.stop;
    line.note = one.pipe.note;
    if (one.pipe.id.row > 1) line.note += ", row " + std::to_string(one.pipe.id.row);
    for (const std::string& why : one.why)
        line.why += (line.why.empty() ? "" : " · ") + why;
    line.to_do = one.to_do();
    line.out_of_reach = one.out_of_reach;
    line.complaint = one.complaint;
    return line;
}

std::shared_ptr<const overlay::ListPage> page_of(const visit::Run& run) {
    const visit::WorkList& list = run.list();
    auto page = std::make_shared<overlay::ListPage>();
    page->to_do = static_cast<int>(list.to_do());
    page->done = static_cast<int>(list.done);
    page->remarks = list.remarks;
    const auto known = [&](const PipeId& id) {
        return std::find_if(page->lines.begin(), page->lines.end(),
                            [&](const overlay::ListLine& line) { return line.pipe == id; });
    };
    const bool listed =
        std::any_of(list.pipes.begin(), list.pipes.end(),
                    [&](const visit::ListedPipe& one) { return one.pipe.id == run.pipe().id; });
    if (!listed) {
        visit::ListedPipe in_hand;
        in_hand.pipe = run.pipe();
        in_hand.why = {"in hand, not on the list: W puts it there"};
        page->lines.push_back(line_of(in_hand));
        page->lines.back().listed = page->lines.back().to_do = false;
        page->walking.push_back(0);
    }
    for (const visit::ListedPipe& one : list.pipes)
        page->lines.push_back(line_of(one));
    for (const organ::Pipe& pipe : visit::for_the_feet(run.instrument(), list))
        page->walking.push_back(static_cast<std::size_t>(known(pipe.id) - page->lines.begin()));
    for (std::size_t i = listed ? 0 : 1; i < page->lines.size(); ++i)
        if (!page->lines[i].to_do) page->walking.push_back(i);
    return page;
}

// What a run that is for mixtures only doesn't go to.
bool has_other_job(const visit::Run& run) {
    const auto& pipes = run.list().pipes;
    return run.only_mixtures() &&
           std::any_of(pipes.begin(), pipes.end(), [&](const visit::ListedPipe& one) {
               const PipeId& id = one.pipe.id;
               const auto ref = organ::stop_by_id(run.instrument(), id.division, id.stop);
               return one.to_do() && ref.stop != nullptr && !ref.stop->mixture();
           });
}

overlay::EndView end_of(const visit::Run& run) {
    overlay::EndView end;
    std::set<PipeId> own;
    for (const visit::ListedPipe& one : run.left_over()) {
        end.left.push_back(line_of(one));
        own.insert(one.pipe.id);
    }
    for (const visit::ListedPipe& one : run.list().pipes) {
        if (one.to_do() && own.count(one.pipe.id) == 0) ++end.elsewhere;
    }
    return end;
}

overlay::NextCall words_of(const visit::Call& call) {
    overlay::NextCall next;
    next.stops = call.key.division + ": ";
    for (std::size_t i = 0; i < call.stops.size(); ++i)
        next.stops += (i > 0 ? ", then " : "") + call.stops[i] + (i > 0 ? " as well" : "");
    next.key = call.key.note;
    next.number = "key " + std::to_string(call.key.key);
    if (!call.also) return next;
    next.also = "and " + call.also->note;
    if (call.also->division != call.key.division) next.also += " on the " + call.also->division;
    next.also += ", key " + std::to_string(call.also->key);
    return next;
}

}  // namespace

void ListView::fill(overlay::Snapshot& out, const visit::Run& run) {
    constexpr std::size_t kCallsAhead = 6;
    const PipeId& here = run.pipe().id;
    if (!page_ || entries_ != run.record().entries().size() || at_ != here) {
        page_ = page_of(run);
        other_job_ = has_other_job(run);
        entries_ = run.record().entries().size();
        at_ = here;
    }
    out.list = page_;
    out.pipe = here;
    out.only_listed = run.only_listed();
    const auto ahead = run.calls_ahead(kCallsAhead);
    if (!ahead.empty() && ahead.front().stops.back() != run.pipe().stop)
        out.next_stop = ahead.front().stops.back();
    if (out.only_listed && ahead.empty() && other_job_)
        out.notices.push_back(
            {false, "What else is on the list is no mixture: leave, and start with --list."});
    if (run.is_over()) out.end = end_of(run);
    out.calls.push_back(words_of(run.call()));
    for (const visit::Call& call : ahead)
        out.calls.push_back(words_of(call));
}

}  // namespace rankwright::app

#include "visit/pitch_today.h"

#include <algorithm>

namespace rankwright::visit {

namespace {
constexpr Cents kSure{1.0};
constexpr std::size_t kEnough = 3;
}  // namespace

void PitchToday::give(std::optional<Hertz> a) {
    given_ = a;
    only_held_ = false;
    drift_when_given_ = a ? follower_.drift() : Cents{0.0};
}

void PitchToday::hold(Hertz a) {
    const bool told = is_told();
    give(a);
    only_held_ = !told;
}

void PitchToday::heard(Seconds at, const organ::ReferenceReading& reference,
                       const organ::Day& air) {
    if (reference.uncertainty > kSure || reference.pipe.make.reed()) return;
    now_ = at;
    latest_ = reference;
    const auto known = std::find_if(first_.begin(), first_.end(), [&](const auto& one) {
        return one.pipe.id == reference.pipe.id;
    });
    const auto index = static_cast<std::size_t>(known - first_.begin());
    if (known == first_.end()) {
        first_.push_back(reference);
        done_.push_back(false);
    } else if (done_[index]) {
        return;
    }
    first_[index] = reference;
    first_[index].heard = transpose(reference.heard, -follower_.drift());
    if (first_.size() < kEnough) return;
    const auto today = organ::pitch_of_day(instrument_, first_, air);
    if (today && today->uncertainty <= kSure) measured_ = today->a;
}

void PitchToday::left() {
    if (!latest_) return;
    const Hertz home = organ::target(instrument_, latest_->pipe, {});
    follower_.heard(now_, latest_->pipe.id, interval(home, latest_->heard), latest_->uncertainty);
    latest_.reset();
    std::fill(done_.begin(), done_.end(), true);
}

void PitchToday::moved(const PipeId& pipe) {
    follower_.forget(pipe);
    for (std::size_t i = 0; i < first_.size(); ++i) {
        if (first_[i].pipe.id != pipe) continue;
        first_.erase(first_.begin() + static_cast<std::ptrdiff_t>(i));
        done_.erase(done_.begin() + static_cast<std::ptrdiff_t>(i));
        return;
    }
}

std::optional<Hertz> PitchToday::a() const {
    const auto& at_first = given_ ? given_ : measured_;
    if (!at_first) return std::nullopt;
    return transpose(*at_first, drift());
}

Cents PitchToday::drift() const { return follower_.drift() - drift_when_given_; }

std::optional<organ::PitchOfDay> PitchToday::explained(const organ::Day& air) const {
    const auto today = a();
    if (!today) return std::nullopt;
    return organ::pitch_as_given(instrument_, *today, air);
}

}  // namespace rankwright::visit

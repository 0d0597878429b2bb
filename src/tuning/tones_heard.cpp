#include "tuning/tones_heard.h"

#include "tuning/speech.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::tuning {

namespace {

using listening::Hearing;
using listening::Sounding;

constexpr Hertz kCountedFrom{440.0};
/// What ends sooner was a knock, a syllable or the room.
constexpr Seconds kShortestTone{0.4};
constexpr Seconds kShortestUnread{0.8};
/// A pipe that speaks another note first stands at it so long.
constexpr Seconds kSpeaksFirst{0.12};
constexpr Cents kOtherNote{80.0};
constexpr Seconds kStood{0.3};
constexpr double kTremulantShare = 0.25;
/// A pipe creeps in that its first reading finds so far from where it comes to stand (common
/// practice, no source); and it isn't watched for longer than that.
constexpr Cents kCreeps{8.0};
constexpr Seconds kCreepsFor{4.0};
/// What sounds and is no tone is as loud as the tones if it isn't softer by more than that.
constexpr double kAsLoud_db = 12.0;

}  // namespace

void TonesHeard::begin(const Hearing& hearing, FrameIndex from) {
    end();
    tone_.emplace();
    tone_->from = from;
    tone_->pitch = *hearing.coarse;
    tone_->unread_before = std::exchange(unread_, Seconds{0.0});
    loud_since_.reset();
    number_ = hearing.tone;
    mean_.restart();
    with_tremulant_ = hearings_ = 0;
    speaks_at_.reset();
    way_.clear();
}

void TonesHeard::end() {
    if (!tone_) return;
    HeardTone& tone = *tone_;
    tone.tremulant = with_tremulant_ > kTremulantShare * hearings_;
    tone.about = transpose(kCountedFrom, Cents{coarse_sum_ / coarse_count_});
    if (tone.tremulant || !mean_.mean()) {
        tone.pitch = tone.about;
        tone.stood = tone.from;
        tone.to = tone.left;
    } else {
        tone.read = true;
        tone.pitch = transpose(kCountedFrom, *mean_.mean());
        tone.uncertainty = *mean_.uncertainty();
        find_creeping(tone);
    }
    tone.stood = std::min(std::max(tone.stood, speech_over(tone.from, tone.pitch, rate_)), tone.to);
    if (creeps_on())
        creep_on();
    else if (continues_the_last())
        join_to_last();
    else if (tone.lasted(rate_) >= (tone.read ? kShortestTone : kShortestUnread) || tone.tremulant)
        tones_.push_back(tone);
    tone_.reset();
}

// Readings begin while a slow pipe still creeps: its speech is over when it has arrived.
void TonesHeard::find_creeping(HeardTone& tone) const {
    const Cents stands = interval(kCountedFrom, tone.pitch);
    const auto far = [&](const Passed& passed) {
        return std::abs((passed.at - stands).value()) > kCreeps.value();
    };
    if (way_.empty() || !far(way_.front())) return;
    const auto arrived = std::find_if(way_.begin(), way_.end(), [&](const Passed& passed) {
        return !far(passed) && !passed.moving;
    });
    tone.speech = std::max(*tone.speech, (arrived == way_.end() ? way_.back() : *arrived).after);
    tone.crept = true;
}

// What creeps in fast is taken for a new tone now and then: without a pause between, and as loud as
// before, it is the same pipe on its way.
bool TonesHeard::creeps_on() const {
    if (tones_.empty() || !tone_->read) return false;
    const HeardTone& last = tones_.back();
    constexpr Seconds kNoPause{0.1}, kLostOnItsWay{0.4};
    constexpr Decibels kAsLoud{3.0};
    constexpr Cents kLeast{4.0}, kMost{40.0};
    const double went = std::abs(interval(last.pitch, tone_->pitch).value());
    return last.read && !last.tremulant && went > kLeast.value() && went < kMost.value() &&
           duration(tone_->from - last.left, rate_) < (last.crept ? kLostOnItsWay : kNoPause) &&
           duration(tone_->from - last.from, rate_) < kCreepsFor &&
           tone_->level > last.level - kAsLoud;
}

void TonesHeard::creep_on() {
    HeardTone& first = tones_.back();
    HeardTone whole = *tone_;
    whole.from = first.from;
    whole.spoke_first = first.spoke_first;
    whole.unread_before = first.unread_before;
    whole.onset_disturbed = first.onset_disturbed;
    whole.level = std::max(first.level, whole.level);
    whole.crept = first.crept || tone_->crept ||
                  std::abs(interval(first.pitch, whole.pitch).value()) > kCreeps.value();
    whole.speech =
        whole.crept ? duration(tone_->from - first.from, rate_) + *tone_->speech : first.speech;
    if (!whole.crept) whole.stood = first.stood;
    first = whole;
}

// A tremulant, or a pipe that doesn't settle, looks like a new tone now and then.
bool TonesHeard::continues_the_last() const {
    if (tones_.empty()) return false;
    const HeardTone& last = tones_.back();
    constexpr Cents kSame{40.0};
    constexpr Seconds kPause{0.5};
    constexpr Seconds kPiece{0.8};
    const bool pieces =
        !last.read || !tone_->read || last.lasted(rate_) < kPiece || tone_->lasted(rate_) < kPiece;
    return pieces && duration(tone_->from - last.left, rate_) < kPause &&
           std::abs(interval(last.pitch, tone_->pitch).value()) < kSame.value();
}

void TonesHeard::join_to_last() {
    HeardTone& last = tones_.back();
    last.left = tone_->left;
    last.tremulant = last.tremulant || tone_->tremulant;
    if (last.read && !last.tremulant) return;  // its end, rising once more in the room
    last.read = false;
    last.to = last.left;
}

void TonesHeard::watch_speech(const Hearing& hearing, Seconds now) {
    HeardTone& tone = *tone_;
    if (!tone.speech && hearing.sounding == Sounding::disturbed) tone.onset_disturbed = true;
    if (speaks_at_ && std::abs(interval(*speaks_at_, *hearing.coarse).value()) < kOtherNote.value())
        return;
    if (speaks_at_ && !tone.speech && now - speaks_since_ >= kSpeaksFirst)
        tone.spoke_first = speaks_at_;
    speaks_at_ = hearing.coarse;
    speaks_since_ = now;
    coarse_sum_ = 0.0;
    coarse_count_ = 0;
    // What was read of another note isn't this tone's.
    mean_.restart();
}

void TonesHeard::go_on(const Hearing& hearing) {
    HeardTone& tone = *tone_;
    const Seconds now = duration(hearing.now - FrameIndex{}, hearing.rate);
    ++hearings_;
    if (hearing.suspicions.tremulant) ++with_tremulant_;
    watch_speech(hearing, now);
    coarse_sum_ += interval(kCountedFrom, *hearing.coarse).value();
    ++coarse_count_;
    tone.left = hearing.now;
    tone.level = std::max(tone.level, hearing.tone_level);
    if (!hearing.reading) return;
    const listening::PitchReading& reading = *hearing.reading;
    loudness_db_ = hearing.input.rms.value();
    const Seconds after = duration(hearing.now - tone.from, hearing.rate);
    if (after < kCreepsFor)
        way_.push_back(
            {after, interval(kCountedFrom, reading.pitch), hearing.sounding == Sounding::moving});
    if (!tone.speech) {
        tone.stood = reading.from;
        tone.speech = after;
    }
    mean_.add(now, interval(kCountedFrom, reading.pitch), reading.cents_sd());
    tone.to = reading.to;
    tone.partials = reading.partials;
}

void TonesHeard::watch_unread(const Hearing& hearing) {
    if (hearing.input.rms.value() < loudness_db_ - kAsLoud_db) return loud_since_.reset();
    if (!loud_since_) loud_since_ = hearing.now;
    unread_ = std::max(unread_, duration(hearing.now - *loud_since_, hearing.rate));
}

void TonesHeard::hear(const Hearing& hearing) {
    rate_ = hearing.rate;
    if (hearing.sounding == Sounding::silence || !hearing.coarse) {
        end();
        if (!tones_.empty()) watch_unread(hearing);
        return;
    }
    if (!tone_ || hearing.tone != number_) begin(hearing, hearing.tone_began);
    // The ear may slide from one key to the next without a pause between.
    if (mean_.mean() && mean_.span() > kStood &&
        std::abs(interval(transpose(kCountedFrom, *mean_.mean()), *hearing.coarse).value()) >
            kOtherNote.value())
        begin(hearing, hearing.now);
    go_on(hearing);
}

void TonesHeard::finish() { end(); }

std::optional<ToneNow> TonesHeard::now() const {
    if (!tone_ || coarse_count_ == 0) return std::nullopt;
    if (!mean_.mean())
        return ToneNow{
            transpose(kCountedFrom, Cents{coarse_sum_ / coarse_count_}), {}, Seconds{0.0}};
    return ToneNow{transpose(kCountedFrom, *mean_.mean()), mean_.uncertainty(), mean_.span()};
}

}  // namespace rankwright::tuning

#include "app/held_key.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <utility>
#include <vector>

namespace rankwright::app {

namespace {

// Speech and the room's build-up don't belong to the span.
constexpr Seconds kSpeech{0.3};
constexpr Seconds kHop{0.1};
// A hop that much louder or softer than those before begins or ends a key.
constexpr double kOnset = 10.0;
constexpr double kEnd = 0.01;
constexpr double kFollow = 0.1;
// From one answer to the next question.
constexpr Seconds kSoonest{1.0};

using Pipe = listening::MixturePipeReading;

bool sounds(const std::optional<listening::MixtureReading>& reading) {
    return reading &&
           std::any_of(reading->pipes.begin(), reading->pipes.end(), [](const Pipe& pipe) {
               return pipe.presence == listening::Presence::sounding;
           });
}

}  // namespace

HeldKey::HeldKey(listening::MixtureRequest request, MixtureEar::When when)
    : request_(std::move(request)), ear_(kSpan, when) {}

void HeldKey::follow_level(const capture::CaptureBlock& block) {
    power_ += listening::energy({block.samples.data(), std::size_t{block.frames} * block.channels});
    frames_ += block.frames;
    const Seconds hop{static_cast<double>(frames_) / block.rate.value()};
    if (hop < kHop) return;
    const double power = power_ / static_cast<double>(frames_);
    power_ = 0.0;
    frames_ = 0;
    heard_ += hop;
    if (power > kOnset * usual_ || power < kEnd * usual_) {
        held_ = Seconds{0.0};
        usual_ = power;
        request_.before.clear();
        return;
    }
    held_ += hop;
    usual_ += kFollow * (power - usual_);
}

void HeldKey::start_anew() {
    heard_ = held_ = rest_until_ = Seconds{0.0};
    request_.before.clear();
}

void HeldKey::hear(const capture::CaptureBlock& block) {
    const bool goes_on = block.stream == latest_.stream &&
                         block.first == latest_.first + static_cast<std::int64_t>(latest_.frames);
    if (!goes_on) start_anew();
    latest_ = block;
    ear_.hear(block);
    follow_level(block);
    if (auto answer = ear_.answer()) {
        reading_ = std::move(answer->reading);
        // A pipe that can't be told now is looked for where it was heard last.
        request_.before.resize(request_.pipes.size());
        for (std::size_t j = 0; reading_ && j < request_.pipes.size(); ++j)
            if (reading_->pipes[j].presence != listening::Presence::cannot_tell)
                request_.before[j] = reading_->pipes[j].cents;
        if (!sounds(reading_)) request_.before.clear();
        rest_until_ = heard_ + kSoonest;
    }
    if (held_ >= kSpan + kSpeech && heard_ >= rest_until_) ear_.ask(0, request_);
}

std::optional<listening::MixtureReading> HeldKey::reading() {
    auto reading = std::exchange(reading_, std::nullopt);
    if (!sounds(reading)) reading.reset();
    return reading;
}

}  // namespace rankwright::app

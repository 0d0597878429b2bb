#include "visit/key_follower.h"

namespace rankwright::visit {

void KeyFollower::own(int tone) {
    latest_ = known_until_ = tone;
    heard_.reset();
}

void KeyFollower::turned() {
    known_until_ = latest_;
    heard_.reset();
}

std::optional<int> KeyFollower::hear(Seconds at, int tone, std::optional<int> key,
                                     Seconds patience) {
    latest_ = tone;
    if (!key || tone <= known_until_) {
        heard_.reset();
        return std::nullopt;
    }
    if (!heard_ || heard_->key != *key) heard_ = {*key, at};
    return at - heard_->since >= patience ? key : std::nullopt;
}

}  // namespace rankwright::visit

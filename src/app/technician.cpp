#include "app/technician.h"

#include "visit/faults.h"

#include <algorithm>
#include <cmath>

namespace rankwright::app {

std::optional<visit::Command> ScreenReader::look(const overlay::Snapshot& snapshot, Seconds now) {
    using overlay::Stage;
    const std::string pipe = snapshot.stop + std::to_string(snapshot.key) +
                             (snapshot.mixture ? snapshot.mixture->in_hand : "");
    if (pipe_ != pipe) {
        pipe_ = pipe;
        silent_since_.reset();
        tried_alone_ = false;
        technician_.turn_to(*pipe_, snapshot.device, now);
    }
    if (snapshot.end) return visit::EndVisit{};
    if (snapshot.wait || snapshot.survey) return std::nullopt;
    if (snapshot.mixture) {
        const bool others_sound = snapshot.stage == Stage::wrong_key;
        auto command = look_at_mutes(*snapshot.mixture, snapshot.key, others_sound, now);
        if (command || busy_) return command;
    }
    if (auto command = listen_for_nothing(snapshot, now)) return command;
    simulator::Screen screen;
    screen.shows_figure =
        snapshot.deviation && (snapshot.stage == Stage::reading ||
                               snapshot.stage == Stage::moving || snapshot.stage == Stage::settled);
    screen.cents = snapshot.deviation.value_or(Cents{0.0}).value();
    screen.way = snapshot.advice.way;
    screen.at_least = snapshot.advice.at_least;
    screen.at_most = snapshot.advice.at_most;
    screen.kept = snapshot.stage == Stage::settled;
    // A figure stands when what is written behind "±" is small beside it.
    const double off = std::abs(screen.cents);
    screen.settled = screen.kept || (snapshot.stage == Stage::reading && snapshot.uncertainty &&
                                     snapshot.uncertainty->value() < std::max(0.2, 0.2 * off));
    // Who has moved a pipe a few times, and is told that another may sound, believes it.
    constexpr int kFewMoves = 3;
    if (snapshot.unanswered && technician_.moves() >= kFewMoves) return leave(snapshot);
    const simulator::Deed deed = technician_.look(screen, now);
    switch (deed.kind) {
        case simulator::Deed::Kind::move:
            return visit::MoveDevice{deed.up};
        case simulator::Deed::Kind::next:
            return screen.kept ? visit::GoNext{} : leave(snapshot);
        case simulator::Deed::Kind::wait:
            break;
    }
    return std::nullopt;
}

visit::Command ScreenReader::leave(const overlay::Snapshot& snapshot) {
    if (snapshot.reference.empty() || snapshot.alone || tried_alone_) return visit::GoNext{};
    tried_alone_ = true;
    return visit::HearAlone{};
}

std::optional<visit::Command> ScreenReader::listen_for_nothing(const overlay::Snapshot& snapshot,
                                                               Seconds now) {
    constexpr Seconds kGivesUp{8.0};  // common practice, no source
    if (snapshot.stage != overlay::Stage::waiting || !snapshot.faults.empty()) {
        silent_since_.reset();
        return std::nullopt;
    }
    if (!silent_since_) silent_since_ = now;
    // What the screen doesn't offer yet can't be noted.
    if (now - *silent_since_ < kGivesUp || snapshot.unheard_treble) return std::nullopt;
    silent_since_.reset();
    return visit::NoteFault{std::string(visit::kFaults.front())};
}

std::optional<visit::Command> ScreenReader::look_at_mutes(const overlay::MixtureKey& mixture,
                                                          int key, bool others_sound, Seconds now) {
    // Common practice, no source: to move a mute or two; and until a mute that was pressed home
    // could be heard to hold.
    constexpr Seconds kMovesMutes{1.5};
    constexpr Seconds kHearsThem{8.0};
    const std::string wanted =
        std::to_string(key) + (mixture.none_muted ? "none" : mixture.in_hand);
    const bool leaks = std::any_of(mixture.pipes.begin(), mixture.pipes.end(),
                                   [](const overlay::KeyPipe& pipe) { return pipe.leak; });
    const bool sit_badly = (leaks || others_sound) && now >= looks_again_;
    busy_ = placed_ != wanted || sit_badly || hands_done_;
    if (!busy_) {
        if (!mixture.none_muted) return std::nullopt;
        busy_ = true;  // all sound: nothing to tune until the screen says where to go
        if (!mixture.heard_whole) return std::nullopt;
        return visit::GoNext{};
    }
    if (!hands_done_) hands_done_ = now + kMovesMutes;
    if (now < *hands_done_) return std::nullopt;
    hands_done_.reset();
    placed_ = wanted;
    looks_again_ = now + kHearsThem;
    return visit::MoveMutes{};
}

}  // namespace rankwright::app

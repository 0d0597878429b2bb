#include "app/technician.h"

#include <algorithm>
#include <cmath>

namespace rankwright::app {

std::optional<visit::Command> ScreenReader::look(const overlay::Snapshot& snapshot, Seconds now) {
    if (key_ != snapshot.key) {
        key_ = snapshot.key;
        technician_.turn_to(snapshot.device, now);
    }
    if (snapshot.wait) return std::nullopt;
    using overlay::Stage;
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
    const simulator::Deed deed = technician_.look(screen, now);
    switch (deed.kind) {
        case simulator::Deed::Kind::move:
            return visit::MoveDevice{deed.up};
        case simulator::Deed::Kind::next:
            return visit::GoNext{};
        case simulator::Deed::Kind::wait:
            break;
    }
    return std::nullopt;
}

}  // namespace rankwright::app

// The ribbons of a snapshot.
#include "app/snapshot.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::app {

namespace {

/// How much of a beat's beads is drawn at so many cycles a frame: all up to ten beats a second,
/// none from sixteen on, where the eye can't count them and the frames begin to show slower ones
/// that aren't there.
float beads_drawn(float cycles) {
    constexpr float kAll = 0.2F;
    constexpr float kNone = 0.32F;
    return std::clamp((kNone - std::abs(cycles)) / (kNone - kAll), 0.0F, 1.0F);
}

/// Of |1 + e^{iφ}| / 2 over a whole turn.
constexpr float kMeanWidth = 2.0F / std::numbers::pi_v<float>;

}  // namespace

std::vector<overlay::Ribbon> make_ribbons(std::span<const listening::PartialFrame> frames) {
    std::vector<overlay::Ribbon> ribbons;
    std::vector<float> turns;  // of the fundamental, cycles from frame to frame
    for (std::size_t i = 0; i < frames.size(); ++i)
        turns.push_back(i == 0
                            ? 0.0F
                            : std::arg(frames[i].phasor[0] * std::conj(frames[i - 1].phasor[0])) /
                                  (2.0F * std::numbers::pi_v<float>));
    for (std::size_t k = 0; k < listening::kRibbonPartials; ++k) {
        overlay::Ribbon ribbon;
        ribbon.label = std::to_string(k + 1) + ":" + std::to_string(k + 1);
        float mean = 0.0F;
        for (const auto& frame : frames)
            mean += std::abs(frame.phasor[k]);
        if (!frames.empty()) mean /= static_cast<float>(frames.size());
        // Speech swings the phase about: the steady partner is started where the tone stands.
        const std::size_t start = std::min<std::size_t>(10, frames.empty() ? 0 : frames.size() - 1);
        const std::complex<float> partner =
            frames.empty() ? 0.0F : std::polar(1.0F, std::arg(frames[start].phasor[k]));
        ribbon.width.reserve(frames.size());
        for (std::size_t i = 0; i < frames.size(); ++i) {
            const float drawn = beads_drawn(static_cast<float>(k + 1) * turns[i]);
            const float width =
                mean > 0.0F ? std::abs(frames[i].phasor[k] / mean + partner) / 2.0F : 0.0F;
            ribbon.width.push_back(
                mean > 0.0F ? std::min(1.0F, drawn * width + (1.0F - drawn) * kMeanWidth) : 0.0F);
        }
        ribbons.push_back(std::move(ribbon));
    }
    return ribbons;
}

std::vector<overlay::Ribbon> make_ribbons(std::span<const listening::PartialFrame> meetings,
                                          const organ::Reference& reference) {
    std::vector<overlay::Ribbon> ribbons;
    for (std::size_t k = 0; k < listening::kRibbonPartials; ++k) {
        const int number = static_cast<int>(k) + 1;
        overlay::Ribbon ribbon;
        ribbon.label = std::to_string(number * reference.reference_partial) + ":" +
                       std::to_string(number * reference.pipe_partial);
        float most = 0.0F;
        for (const auto& frame : meetings)
            most = std::max(most, std::abs(frame.phasor[k]));
        ribbon.width.reserve(meetings.size());
        for (const auto& frame : meetings)
            ribbon.width.push_back(most > 0.0F ? std::abs(frame.phasor[k]) / most : 0.0F);
        ribbons.push_back(std::move(ribbon));
    }
    return ribbons;
}

}  // namespace rankwright::app

// What is looked after before the first note of a visit, and before leaving.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"
#include "overlay/snapshot.h"
#include "visit/command.h"

#include <array>
#include <optional>
#include <string>
#include <string_view>

namespace rankwright::overlay {

/// Common practice, no source.
inline constexpr std::array<std::string_view, 6> kChecksBefore{
    {"wind up, and steady", "tremulants and couplers off", "heating as for a service",
     "shades open, and staying open", "thermometers read (T)", "mutes counted"}};
inline constexpr std::array<std::string_view, 3> kChecksAfter{
    {"mutes out, and counted", "shades, tremulants and heating as they were",
     "tools and lights out of the chamber"}};

/// Ticks beside a list of checks, each by its digit.
template <std::size_t N>
class Ticks {
  public:
    explicit Ticks(const std::array<std::string_view, N>& checks) : checks_(checks) {}
    /// False when the press isn't one of its digits.
    bool press(const KeyPress& key) {
        if (key.key != Key::character || key.character < '1' ||
            key.character >= static_cast<char>('1' + N))
            return false;
        bool& ticked = ticked_[static_cast<std::size_t>(key.character - '1')];
        ticked = !ticked;
        return true;
    }
    bool ticked(std::size_t check) const { return ticked_[check]; }
    /// For the tuning book; empty when nothing was ticked.
    std::optional<visit::Command> note(const std::string& when) const {
        std::string words;
        for (std::size_t i = 0; i < N; ++i)
            if (ticked_[i]) words += (words.empty() ? "" : "; ") + std::string(checks_[i]);
        if (words.empty()) return std::nullopt;
        return visit::Note{visit::Remark{{}, {}, "checked " + when + ": " + words, false}};
    }

  private:
    std::array<std::string_view, N> checks_;
    std::array<bool, N> ticked_{};
};

/// The page before the first note. It blocks nothing: any other key closes it.
class ChecksPage {
  public:
    struct Outcome {
        bool done = false;
        bool pass_on = false;  ///< the press is for the work
        std::optional<visit::Command> command;
    };
    Outcome press(const KeyPress& key);
    void draw(Canvas& canvas, const Rect& place) const;

  private:
    Ticks<kChecksBefore.size()> ticks_{kChecksBefore};
};

/// A box, ticked or not, its digit and what it stands for; `place` is its row.
void draw_check(Canvas& canvas, const Rect& place, std::size_t number, std::string_view words,
                bool ticked);

}  // namespace rankwright::overlay

// The window: GLFW, its OpenGL context, the frame loop's pace, and presses for the overlay.
#pragma once

#include "core/result.h"
#include "overlay/chooser.h"
#include "overlay/snapshot.h"
#include "visit/command.h"

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::app {

/// One at a time in a program, on its main thread. [window]
class Window {
  public:
    struct Options {
        int width = 1280;
        int height = 800;
        std::string title = "Rankwright";
        bool visible = true;
    };
    /// Fails without a display or without OpenGL 3.3, saying what to do.
    static Result<std::unique_ptr<Window>> open(const Options& options);
    ~Window();
    Window(const Window&) = delete;
    Window& operator=(const Window&) = delete;

    /// Draws one picture, takes presses and adds what they ask for to `commands`. Waits so that at
    /// most 30 pictures a second are drawn. False, with visit::Quit added, once the window was
    /// closed.
    bool frame(overlay::Snapshot snapshot, std::vector<visit::Command>& commands);

    /// Carries out what is asked of the tuning book, without waiting for it, and tells how it
    /// stands; called for each picture.
    using CareForBook =
        std::function<overlay::BookView(const std::vector<visit::CareForBook>& asked)>;
    /// Asks which instrument and input; returns when chosen. Empty when the technician leaves.
    /// Meanwhile the tuning book may be looked after.
    std::optional<overlay::Choice> choose(overlay::Choices choices, const CareForBook& book = {});

    /// Writes the last picture as a PNG file.
    Result<void> screenshot(const std::filesystem::path& file);

  private:
    struct State;
    explicit Window(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace rankwright::app

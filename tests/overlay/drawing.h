// Draws overlays without a window: Dear ImGui makes its draw lists all the same.
#pragma once

#include "overlay/overlay.h"

#include <algorithm>
#include <string_view>
#include <vector>

#include <imgui.h>

namespace rankwright::overlay {

class Drawing {
  public:
    explicit Drawing(Size window) : window_(window) {
        ImGui::CreateContext();
        ImGui::GetIO().IniFilename = nullptr;
        ImGui::GetIO().DisplaySize = {window.width, window.height};
        overlay.prepare(window);
    }
    ~Drawing() { ImGui::DestroyContext(); }
    Drawing(const Drawing&) = delete;
    Drawing& operator=(const Drawing&) = delete;

    std::vector<visit::Command> draw(const Snapshot& snapshot) {
        ImGui::GetIO().DeltaTime = 1.0F / 30.0F;
        ImGui::NewFrame();
        auto commands = overlay.draw(snapshot, window_);
        ImGui::Render();
        return commands;
    }

    /// The commands that one press asks for.
    std::vector<visit::Command> press(const KeyPress& key, const Snapshot& snapshot) {
        overlay.press(key);
        return draw(snapshot);
    }
    std::vector<visit::Command> press(char letter, const Snapshot& snapshot) {
        return press(KeyPress{Key::character, letter, false, false}, snapshot);
    }

    /// The largest text drawn that says exactly this; none: nullptr.
    const DrawnText* largest(std::string_view words) const {
        const DrawnText* found = nullptr;
        for (const DrawnText& text : overlay.drawn_texts())
            if (text.words == words && (found == nullptr || text.em > found->em)) found = &text;
        return found;
    }
    bool says(std::string_view part) const {
        return std::any_of(
            overlay.drawn_texts().begin(), overlay.drawn_texts().end(),
            [&](const DrawnText& text) { return text.words.find(part) != std::string::npos; });
    }
    float unit() const { return scale_for(window_); }

    Overlay overlay;

  private:
    Size window_;
};

}  // namespace rankwright::overlay

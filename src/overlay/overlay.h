// The window's picture: draws a snapshot, turns key presses into commands.
#pragma once

#include "overlay/book_page.h"
#include "overlay/canvas.h"
#include "overlay/checks.h"
#include "overlay/chooser.h"
#include "overlay/fault_list.h"
#include "overlay/fonts.h"
#include "overlay/key.h"
#include "overlay/layout.h"
#include "overlay/ribbon_painter.h"
#include "overlay/snapshot.h"
#include "overlay/stop_list.h"
#include "overlay/value_entry.h"
#include "overlay/work_list_page.h"
#include "visit/command.h"

#include <optional>
#include <string>
#include <vector>

namespace rankwright::overlay {

/// Owns only view state: open panels and what is being typed. Belongs to the window thread and
/// draws into the current ImGui context.
class Overlay {
  public:
    /// Builds the fonts for a window of this size. True when the atlas changed, so that its texture
    /// must be made anew. Call before ImGui::NewFrame.
    bool prepare(Size window);
    /// Needs the OpenGL context. Everything but the ribbons works without.
    Result<void> load_shaders() { return painter_.load(); }

    /// Takes a key press; what it asks for comes back from the next draw.
    void press(const KeyPress& key) { presses_.push_back(key); }
    /// Draws between ImGui::NewFrame and ImGui::Render. Returns what the presses since the last
    /// call ask for, in order.
    std::vector<visit::Command> draw(const Snapshot& snapshot, Size window);

    /// Draws the first question instead.
    void draw_chooser(const Chooser& chooser, const Choices& choices, Size window);

    const Fonts& fonts() const { return fonts_; }
    /// Every line of text of the last picture.
    const std::vector<DrawnText>& drawn_texts() const { return drawn_; }

  private:
    enum class Page { work, help, quit, calls };
    bool take_by_page(const KeyPress& key, const Snapshot& snapshot,
                      std::vector<visit::Command>& out);
    bool draw_page(Canvas& canvas, const Layout& layout, const Snapshot& snapshot);
    void take(const KeyPress& key, const Snapshot& snapshot, std::vector<visit::Command>& out);
    void take_character(const KeyPress& key, const Snapshot& snapshot,
                        std::vector<visit::Command>& out);
    void draw_work(Canvas& canvas, const Layout& layout, const Snapshot& snapshot);

    Fonts fonts_;
    float fonts_scale_ = 0.0F;
    RibbonPainter painter_;
    std::vector<KeyPress> presses_;
    std::vector<DrawnText> drawn_;
    Page page_ = Page::work;
    std::optional<ValueEntry> entry_;
    std::optional<StopList> stop_list_;
    std::optional<FaultList> fault_list_;
    std::optional<WorkListPage> work_list_;
    std::optional<BookPage> book_page_;
    std::optional<ChecksPage> checks_;
    bool checks_asked_ = false;
    Ticks<kChecksAfter.size()> leaving_{kChecksAfter};
};

/// How far one press of an arrow key moves a simulated device: about 0.4 cent, `far` 4 cents.
Millimetres hand_step(const Snapshot& snapshot, bool far);

}  // namespace rankwright::overlay

// The beat ribbons' picture, drawn by a shader between ImGui's own commands.
#pragma once

#include "core/result.h"
#include "overlay/layout.h"
#include "overlay/snapshot.h"

#include <vector>

#include <imgui.h>

namespace rankwright::overlay {

/// Draws nothing until `load` has succeeded, so panels can be drawn without a window. Belongs to
/// the window thread; `load`, the drawing itself and the end need its OpenGL 3.3 context.
class RibbonPainter {
  public:
    RibbonPainter() = default;
    ~RibbonPainter();
    RibbonPainter(const RibbonPainter&) = delete;
    RibbonPainter& operator=(const RibbonPainter&) = delete;

    /// Compiles the shaders: from `../share/rankwright/shaders` beside the program, else from the
    /// source folder. Fails when they are missing or the driver refuses them.
    Result<void> load();

    /// Puts the ribbons into the draw list at `pixels`. They must be no longer than `columns`.
    /// Drawn when ImGui renders, up to the next call.
    void add(ImDrawList& list, const Rect& pixels, const std::vector<Ribbon>& ribbons, int columns);

  private:
    static void draw_callback(const ImDrawList* list, const ImDrawCmd* command);
    void draw() const;
    void upload() const;

    unsigned program_ = 0;
    unsigned vertices_ = 0;
    unsigned texture_ = 0;

    Rect pixels_;
    std::vector<float> widths_;  ///< row after row, `columns_` each
    int rows_ = 0;
    int columns_ = 0;
    int filled_ = 0;
};

}  // namespace rankwright::overlay

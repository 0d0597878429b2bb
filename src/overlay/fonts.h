// The overlay's type faces, drawn into Dear ImGui's atlas for one scale.
#pragma once

#include <string>
#include <vector>

#include <imgui.h>

namespace rankwright::overlay {

/// DejaVu Sans, which has ♯ ♭ ′ − and the fractions, plain and bold, at several sizes.
class Fonts {
  public:
    /// Rebuilds the atlas of the current ImGui context for `scale` pixels a reference unit. Without
    /// the DejaVu files ImGui's own face is used and `trouble` says what to install. [window]
    void load(float scale);
    /// The face whose drawn size is nearest above `pixels`.
    ImFont* face(bool bold, float pixels) const;
    /// Line height over em: ImGui counts sizes in line heights.
    float line_over_em() const { return line_over_em_; }
    const std::string& trouble() const { return trouble_; }

  private:
    struct Face {
        bool bold;
        float pixels;  ///< line height
        ImFont* font;
    };
    std::vector<Face> faces_;
    float line_over_em_ = 1.0F;
    std::string trouble_;
};

}  // namespace rankwright::overlay

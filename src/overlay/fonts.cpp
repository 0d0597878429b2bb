#include "overlay/fonts.h"

#include "overlay/theme.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <optional>

namespace rankwright::overlay {

namespace {

// Ascender 1901 and descender −483 of 2048 in DejaVu Sans' hhea table.
constexpr float kDejaVuLineOverEm = (1901.0F + 483.0F) / 2048.0F;
// Larger letters are drawn at this size and magnified: at 4K the atlas would outgrow a texture.
constexpr float kLargestDrawn = 240.0F;

// Latin with its accents, dashes and quotes, primes, arrows, minus, ≠ ≤ ≥, geometric shapes, ♭♮♯.
const std::array<ImWchar, 17> kEverything{0x0020, 0x017F, 0x02BC, 0x02BC, 0x2010, 0x2044,
                                          0x2153, 0x215E, 0x2190, 0x2193, 0x2212, 0x2212,
                                          0x2260, 0x2265, 0x266D, 0x266F, 0};
const std::array<ImWchar, 9> kBasic{0x0020, 0x007E, 0x2026, 0x2026, 0x2212,
                                    0x2212, 0x266D, 0x266F, 0};

std::optional<std::filesystem::path> find_font(const char* file) {
    for (const char* folder : {"/usr/share/fonts/truetype/dejavu", "/usr/share/fonts/TTF",
                               "/usr/share/fonts/dejavu-sans-fonts", "/usr/share/fonts/dejavu"}) {
        auto path = std::filesystem::path(folder) / file;
        std::error_code none;
        if (std::filesystem::is_regular_file(path, none)) return path;
    }
    return std::nullopt;
}

struct Cut {
    bool bold;
    float em;
    const ImWchar* letters;
};

}  // namespace

void Fonts::load(float scale) {
    ImFontAtlas& atlas = *ImGui::GetIO().Fonts;
    atlas.Clear();
    faces_.clear();
    const auto plain = find_font("DejaVuSans.ttf");
    const auto bold = find_font("DejaVuSans-Bold.ttf");
    if (!plain || !bold) {
        trouble_ =
            "The DejaVu fonts are missing, so some signs can't be shown: install the package "
            "fonts-dejavu-core.";
        line_over_em_ = 1.0F;
        ImFont* font = atlas.AddFontDefault();
        faces_ = {{false, font->FontSize, font}, {true, font->FontSize, font}};
        atlas.Build();
        return;
    }
    trouble_.clear();
    line_over_em_ = kDejaVuLineOverEm;
    const std::array<Cut, 8> cuts{{{false, kSmall, kEverything.data()},
                                   {false, kBody, kEverything.data()},
                                   {false, kLarge, kEverything.data()},
                                   {false, kLadder, kEverything.data()},
                                   {true, kBody, kEverything.data()},
                                   {true, kLadder, kEverything.data()},
                                   {true, kHuge, kEverything.data()},
                                   {true, kFigure, kBasic.data()}}};
    for (const Cut& cut : cuts) {
        ImFontConfig config;
        config.OversampleH = cut.em > kBody ? 1 : 2;
        config.PixelSnapH = cut.em <= kBody;
        const float pixels = std::min(cut.em * scale * line_over_em_, kLargestDrawn);
        ImFont* font = atlas.AddFontFromFileTTF((cut.bold ? *bold : *plain).c_str(), pixels,
                                                &config, cut.letters);
        faces_.push_back({cut.bold, cut.em * scale * line_over_em_, font});
    }
    atlas.Build();
}

ImFont* Fonts::face(bool bold, float pixels) const {
    const Face* best = nullptr;
    for (const Face& face : faces_) {
        if (face.bold != bold) continue;
        best = &face;
        // Half a pixel: the sizes asked for were multiplied in another order.
        if (face.pixels + 0.5F >= pixels) break;
    }
    return best == nullptr ? nullptr : best->font;
}

}  // namespace rankwright::overlay

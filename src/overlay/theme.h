// Colours and sizes of the overlay: chosen for a dim chamber and two metres' distance.
#pragma once

#include <imgui.h>

namespace rankwright::overlay {

// One warm and one cool hue, for sharp and flat only (and warm for a caution, which comes with its
// own shape). Everything else is pale on near-black; each pair of text and ground has a contrast
// of at least 7:1.
inline constexpr ImU32 kGround = IM_COL32(13, 15, 18, 255);
inline constexpr ImU32 kPlate = IM_COL32(22, 26, 31, 255);
inline constexpr ImU32 kEdge = IM_COL32(64, 71, 79, 255);
inline constexpr ImU32 kFaint = IM_COL32(96, 105, 114, 255);
inline constexpr ImU32 kGrey = IM_COL32(184, 189, 194, 255);
inline constexpr ImU32 kPale = IM_COL32(244, 241, 232, 255);
inline constexpr ImU32 kWarm = IM_COL32(255, 180, 84, 255);
inline constexpr ImU32 kCool = IM_COL32(112, 192, 255, 255);

// Type sizes in em at 1280 × 800. At 55 a capital is 40 pixels high: 16 minutes of arc at two
// metres on a screen 30 cm wide.
inline constexpr float kSmall = 21.0F;
inline constexpr float kBody = 27.0F;
inline constexpr float kLarge = 38.0F;
inline constexpr float kLadder = 55.0F;
inline constexpr float kHuge = 84.0F;
inline constexpr float kFigure = 156.0F;

}  // namespace rankwright::overlay

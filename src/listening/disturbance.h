// Which parts of a recorded span to leave out of a fit: knocks, words, stretches cut off by the
// converter.
#pragma once

#include "core/units.h"

#include <cstdint>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Judges blocks of `block` frames of `samples`, as many as `unrest` (HarmonicFitter::unrest) has.
/// Gives 1 for each block to be heard and 0 for each to be left out. Empty when nothing disturbs,
/// and when it fills half of the span or more: then it is part of what there is to hear.
std::vector<std::uint8_t> undisturbed_blocks(std::span<const double> unrest,
                                             std::span<const float> samples, std::size_t block,
                                             SampleRate rate);

/// Of the blocks with these energies, 1 for those no louder than a standing pipe may be, 0 for
/// those that a knock or a word drowns. Empty as above.
std::vector<std::uint8_t> undrowned_blocks(std::span<const float> energy, std::size_t block,
                                           SampleRate rate);

/// The longest stretch of `samples` that nothing drowns, all of them when it isn't at least a
/// third. `period` (seconds): of the lowest tone that may sound.
std::span<const float> undrowned_stretch(std::span<const float> samples, SampleRate rate,
                                         Seconds period);

/// Share of samples at the converter's limit, 0 to 1: 0 unless one value is met again and again,
/// which unclipped sound hardly does.
double clipped_share(std::span<const float> samples);

}  // namespace rankwright::listening

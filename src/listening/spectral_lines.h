// The lines of a short window's spectrum that stand out of the noise beside them.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace rankwright::listening {

inline constexpr Hertz kLowestPitch{15.4};  ///< 32-foot C at A 415

/// One line of the spectrum that stands out of the noise beside it.
struct SpectralLine {
    double hz = 0.0;
    double amplitude = 0.0;  ///< of the sine, full scale = 1
    double snr = 0.0;        ///< power over the mean noise power of one bin (ratio)
};

/// Picks the lines of one window after another, between a 32-foot C and 14 kHz.
class SpectralLines {
  public:
    SpectralLines(SampleRate rate, Seconds window);
    ~SpectralLines();
    SpectralLines(SpectralLines&&) noexcept;
    SpectralLines& operator=(SpectralLines&&) noexcept;

    /// How many samples it looks at, and how far bins of their spectrum lie apart.
    std::size_t frames() const;
    double bin_hz() const;

    /// Transforms the last frames() of `samples` and picks the lines; false, and none, when there
    /// are fewer. Lines near one of `ignore` (hum that was there before) are left out unless they
    /// are twice as loud. Never allocates.
    bool look(std::span<const float> samples, std::span<const SpectralLine> ignore = {});

    /// The lines last looked at, ascending.
    std::span<const SpectralLine> lines() const;
    /// No more lines than that are kept; of more the loudest.
    static std::size_t most();

  private:
    struct State;
    std::unique_ptr<State> state_;
};

/// To be ignored in a look: lines at `places`, however loud. Allocates.
std::vector<SpectralLine> ignored_lines(std::span<const Hertz> places);

}  // namespace rankwright::listening

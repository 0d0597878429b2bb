// The acoustic length of a pipe: what a moved tuning device does to its pitch.
#pragma once

#include "core/units.h"
#include "organ/pipe.h"
#include "simulator/random.h"

namespace rankwright::simulator {

/// A flue's body is a tube with an open (or closed) top and an inert mouth: it sounds where
///   k (L + x) + atan(k M) = n pi   (open: n = 1, harmonic: n = 2, stopped: n = 1/2)
/// with k = 2 pi f / c, L the tube with its end correction, and the mouth of width w and cut-up h
/// in a tube of radius a standing for M = 2.3 a^2 / sqrt(w h) (Ingerslev and Frobenius 1947; the
/// constant from memory).
/// A reed follows its tongue, f ~ 1/l^2 (clamped bar), in part, since the resonator holds it.
class PipeBody {
  public:
    /// `pitch` is the sound at device position 0 and 20 °C. The scale is drawn around Toepfer's
    /// Normalmensur and nobody outside knows it.
    PipeBody(const organ::Pipe& pipe, Hertz pitch, Random& random);

    /// The change from the pitch at position 0. `at` counts as in Chamber::move_device.
    Cents shift(Millimetres at) const;
    /// The device's furthest positions either way: the sleeve's or the wire's reach.
    Millimetres reach() const { return Millimetres{reach_m_ * 1000.0}; }

  private:
    Cents flue_shift(double longer_m) const;
    Cents tongue_shift(double longer_m) const;

    bool tongue_ = false;
    double wave_number_ = 0.0;     ///< k at position 0, a metre
    double turns_ = 0.0;           ///< n pi
    double mouth_m_ = 0.0;         ///< M
    double length_m_ = 0.0;        ///< L, or the tongue's free length
    double effect_ = 1.0;          ///< metres of air column (or tongue) for a metre of movement up
    double follows_tongue_ = 1.0;  ///< share of the tongue's own change that the reed's pitch takes
    double reach_m_ = 0.0;
};

}  // namespace rankwright::simulator

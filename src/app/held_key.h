// A mixture's key held before the microphone, heard whole again and again.
#pragma once

#include "app/mixture_ear.h"
#include "capture/source.h"
#include "core/units.h"
#include "listening/mixture/mixture.h"

#include <memory>
#include <optional>

namespace rankwright::app {

/// Asks the ear whenever the sound has stood for its whole span. Belongs to the listening thread.
class HeldKey {
  public:
    static constexpr Seconds kSpan{2.4};  ///< heard at once

    explicit HeldKey(listening::MixtureRequest request,
                     MixtureEar::When when = MixtureEar::When::aside);

    void hear(const capture::CaptureBlock& block);
    /// A reading that wasn't given out before; one that found no pipe isn't given.
    std::optional<listening::MixtureReading> reading();

  private:
    void start_anew();
    void follow_level(const capture::CaptureBlock& block);

    listening::MixtureRequest request_;
    MixtureEar ear_;
    capture::CaptureBlock latest_;
    double power_ = 0.0;  ///< sum over the frames of the present hop
    std::size_t frames_ = 0;
    double usual_ = 0.0;  ///< power of a frame since the key is held
    Seconds heard_{0.0};  ///< since the stream's last gap
    Seconds held_{0.0};   ///< no onset and no end within
    Seconds rest_until_{0.0};
    std::optional<listening::MixtureReading> reading_;
};

}  // namespace rankwright::app

// Hears a mixture key whole beside the live work: on a thread of its own, since it takes a while.
#pragma once

#include "capture/source.h"
#include "core/units.h"
#include "listening/mixture/mixture.h"

#include <array>
#include <memory>
#include <optional>
#include <vector>

namespace rankwright::app {

/// Keeps the last seconds of sound. Of two channels both are heard and taken together. Aside it
/// keeps to about a seventh of a core, but for the first seconds of a key. All methods belong to
/// the listening thread; none waits for the hearing unless it is done at once.
class MixtureEar {
  public:
    enum class When {
        aside,   ///< on a thread of its own: the live work goes on
        at_once  ///< before `ask` returns: where sound doesn't come by the clock
    };
    explicit MixtureEar(Seconds span, When when = When::aside);
    ~MixtureEar();
    MixtureEar(const MixtureEar&) = delete;
    MixtureEar& operator=(const MixtureEar&) = delete;

    void hear(const capture::CaptureBlock& block);
    /// Begins to hear the last `span`; false while the last question isn't answered yet, when not
    /// so much was heard since the stream's last gap, or while the ear rests to keep to its share.
    /// The request's rate is the stream's.
    bool ask(int id, listening::MixtureRequest request);
    struct Answer {
        int id = 0;
        std::optional<listening::MixtureReading> reading;
    };
    std::optional<Answer> answer();

  private:
    class Aside;
    std::vector<float> last_span(std::size_t channel) const;

    Seconds span_;
    Seconds to_spend_;                        ///< of a core's time
    std::array<std::vector<float>, 2> kept_;  ///< by channel, a ring; its next place is `at_`
    std::size_t at_ = 0;
    std::size_t heard_ = 0;  ///< frames since the last gap
    capture::CaptureBlock latest_;
    std::optional<Answer> answer_;
    bool busy_ = false;
    std::unique_ptr<Aside> aside_;
};

}  // namespace rankwright::app

// The work at a mixture: joins the ear for a whole key, the job and the order of the mutes.
#pragma once

#include "app/mixture_ear.h"
#include "capture/source.h"
#include "listening/hearing.h"
#include "tuning/against_reference.h"
#include "tuning/mixture_key.h"
#include "tuning/single_pipe.h"
#include "visit/mixture_run.h"

#include <optional>

namespace rankwright::app {

/// Belongs to the listening thread. The run must outlive it.
class MixtureWork {
  public:
    explicit MixtureWork(visit::Run& run, MixtureEar::When when = MixtureEar::When::aside);

    /// What the key in hand should sound like, after anything changed; `reference` = the pitch of
    /// the one that sounds beside.
    void expect(std::optional<Hertz> reference);
    void keep(const capture::CaptureBlock& block) { ear_.hear(block); }
    /// After the job heard the same: names what sounds, and lets the run follow. True when it
    /// moved.
    bool follow(Seconds at, const listening::Hearing& hearing, const tuning::PipeState& single);
    bool follow(Seconds at, const tuning::PairedState& paired);

    visit::MixtureRun& order() { return order_; }
    const visit::MixtureRun& order() const { return order_; }
    const tuning::MixtureKey& key() const { return key_; }

  private:
    void hear_whole();

    visit::Run& run_;
    visit::MixtureRun order_;
    tuning::MixtureKey key_;
    MixtureEar ear_;
};

}  // namespace rankwright::app

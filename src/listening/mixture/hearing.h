// One hearing of a mixture's key: search, who sounds, and where the pipes stand.
#pragma once

#include "listening/arithmetic.h"
#include "listening/mixture/lines.h"
#include "listening/mixture/mixture.h"
#include "listening/mixture/presence.h"
#include "listening/mixture/unresolved.h"

#include <cmath>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

namespace rankwright::listening {

/// Refers to its arguments as long as it lives.
class KeyHearing {
  public:
    KeyHearing(const MixtureSound& sound, const MixtureRequest& request, double reach_cents);
    std::optional<MixtureReading> read();

  private:
    std::vector<MixtureState> search(const std::vector<MixtureBand>& bands) const;
    MixtureState judge(const std::vector<MixtureBand>& bands, const MixtureState& found);
    std::vector<std::size_t> put_in_missed(const MixtureFit& fit, const MixtureModel& model,
                                           std::vector<PresenceEvidence>& evidence,
                                           MixtureState& places);
    bool explains_as_well(const MixtureFit& fit, const std::vector<PresenceEvidence>& closer,
                          const std::vector<MixtureState>& with, std::size_t j,
                          std::size_t most) const;
    void doubt_contested(std::vector<PresenceEvidence>& evidence);
    bool look_closer_at(std::size_t j, PresenceEvidence& evidence, const MixtureModel& model,
                        MixtureState& places, bool again = false);
    bool still_there(std::size_t j, const MixtureModel& model, const MixtureState& others,
                     MixtureState& places);
    bool swap(const std::vector<MixtureBand>& bands, MixtureState& places) const;
    MixtureState refine(const MixtureState& found);
    void forget();
    bool elsewhere(const MixtureState& refined, const MixtureState& found) const;
    void report(MixtureFit& fit, const MixtureState& state, const std::vector<std::size_t>& which);
    bool heard_before(std::size_t j) const {
        return j < request_.before.size() && request_.before[j];
    }
    // A reference has partials wherever the pipes do; their higher ones stand clear of its sooner.
    int partials_asked() const { return request_.reference ? 12 : 6; }
    // Of the pipe's fundamental over the span.
    double cycles(std::size_t j, double cents) const {
        return std::abs(cents) * kCent * reach_[j].nominal_hz * sound_.seconds;
    }
    // Of the evidence within a quarter of a cycle.
    double ln_beside(std::size_t j, double cents) const {
        constexpr double kNear_cycles = 0.25;
        const PresenceEvidence& evidence = untold_[j].evidence;
        return std::min(evidence.ln_ratio,
                        evidence.most_ln_near(cents, kNear_cycles / cycles(j, 1.0)));
    }

    const MixtureSound& sound_;
    const MixtureRequest& request_;
    MixtureModel model_;
    std::vector<MixtureReach> reach_;
    std::vector<MixturePipeReading> readings_;
    std::vector<std::vector<double>> likely_;  // places of each that were nearly as good
    std::vector<UnresolvedPipe> untold_;       // what the last judgement knew of each
    // Of missed pipes the one put in first, and another that explained the same line as well.
    std::vector<std::pair<std::size_t, std::size_t>> contested_;
};

}  // namespace rankwright::listening

// What a survey finds, into the visit's record: each reading as it is final, then today's pitch,
// the faults, and what is proposed for the work list.
#pragma once

#include "visit/findings.h"
#include "visit/run.h"

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

namespace rankwright::visit {

/// Keeps what is known of one stop's play so far, and goes on keeping while more of it tells more:
/// an entry that no longer holds (the key turned out to be its neighbour, a proposal was heard in
/// tune again) is withdrawn, one that was undone by hand isn't made again. Belongs to the listening
/// thread. The run must outlive it.
class SurveyKeeper {
  public:
    explicit SurveyKeeper(Run& run) : run_(run) {}

    /// A play of the run's stop that was broken off is gone on with: what was kept of it in the
    /// last two hours (then the air has changed: common practice, no source), as tones played one
    /// after the other until shortly before frame 0. Empty where every pipe was heard, or one was
    /// tuned since: that is another survey.
    std::vector<tuning::HeardTone> recall(SampleRate rate);
    /// Keeps the readings that aren't kept yet. Those of another stop than the one that was asked
    /// for, under a tremulant, or perhaps a key beside, aren't kept: why_not.
    void keep_readings(const SurveyedStop& survey);
    /// The play is over, for all that is known: A where these pipes measured it, the readings from
    /// their targets at that A, faults in trade words, and the pipes out of tune as proposed.
    void keep_all(const SurveyedStop& survey, const std::vector<Finding>& findings);

  private:
    struct Kept {
        KeptReading reading;
        FrameIndex from, to;  ///< in the sound
        std::uint64_t serial = 0;
        bool found = false;  ///< again, in what is known now
    };
    struct Noted {
        PipeId pipe;
        std::string fault;  ///< empty: proposed
        std::uint64_t serial = 0;
    };
    void keep(const SurveyedStop& survey, bool at_todays_targets);
    void keep_faults(const SurveyedStop& survey);
    void propose(const SurveyedStop& survey, const std::vector<Finding>& findings);
    void withdraw_if(std::vector<Noted>& noted, const std::function<bool(const Noted&)>& outdated);

    Run& run_;
    std::vector<Kept> kept_;
    std::vector<Noted> faults_, proposed_;
};

/// Some pipes of the run's stop were heard in a survey of this visit, not all, and none was tuned:
/// that play may be gone on with.
bool broken_off(const Run& run);

/// Why readings of this survey can't be kept, in words for the technician; empty when they can.
std::string why_not_kept(const tuning::SurveyResult& result);

}  // namespace rankwright::visit

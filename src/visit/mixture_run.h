// The order of work at a mixture: which pipe of a key sounds while the others are muted.
#pragma once

#include "tuning/mixture_key.h"
#include "visit/run.h"

#include <cstddef>
#include <set>
#include <vector>

namespace rankwright::visit {

/// Goes through a run key by key, and in each key pipe by pipe from the lowest row up, the others
/// muted (common practice, no source); or hears each key whole first and goes to those of its pipes
/// that are off, the worst first. Belongs to the listening thread. The run must outlive it.
class MixtureRun {
  public:
    explicit MixtureRun(Run& run);

    /// Indices into the run's pipes of the key in hand, lowest row first.
    std::vector<std::size_t> key_pipes() const;
    /// The key is to be heard whole: no mutes.
    bool none_muted() const { return none_muted_; }
    tuning::KeyExpectation expectation() const;

    /// Where mutes are, once what is asked for was done.
    const std::set<PipeId>& mutes() const { return mutes_; }
    /// What has to be done for that since the pipe before: empty when nothing moves.
    struct MuteMoves {
        std::vector<PipeId> in, out;
    };
    const MuteMoves& moves() const { return moves_; }

    /// On: to the next pipe of this key that isn't done, then to the next key's lowest, to those
    /// that are to be heard again and have cooled, and to the next of the run's stops. While keys
    /// are heard whole: to the worst of those off, then the next of them, then the next key whole.
    /// False at the end.
    bool next();
    bool back();
    /// All mutes out, the key whole; or back to the pipe in hand, the others muted.
    void hear_whole();
    /// The run went elsewhere by itself (a key by its number, another stop, undo).
    void follow_run();

    /// Notes what is heard. When the pipe in hand is settled and its mutes were moved so that the
    /// next one sounds, or the next key, goes on. True when it moved.
    bool follow(const tuning::MixtureKeyState& state);
    /// What comes after the pipe in hand; the same when nothing does.
    std::size_t upcoming() const;

  private:
    std::size_t lowest_ahead(bool also_here) const;
    void turn_to(std::size_t pipe, bool none_muted);
    void set_mutes();

    Run& run_;
    bool none_muted_ = false;
    bool whole_first_ = false;           ///< keys are heard whole, then their pipes that are off
    std::vector<std::size_t> suspects_;  ///< of the key in hand, worst first: into the run's pipes
    std::set<PipeId> mutes_;
    MuteMoves moves_;
    PipeId at_;  ///< the pipe of the run that `mutes_` is for
};

}  // namespace rankwright::visit

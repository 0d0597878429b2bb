// Which of a key's pipes sound.
#pragma once

#include "listening/mixture/fit.h"
#include "listening/mixture/mixture.h"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Cents: how far a pipe heard beside others is sought from the place known of it, and how well a
/// place is known when another is sought beside it.
inline constexpr double kPlaceDoubt_cents = 0.6;
inline constexpr double kKnown_cents = 0.3;

/// How much more likely the sound is when a pipe sounds or leaks somewhere within its reach than
/// when it is silent: a ratio of likelihoods, integrated over its place and level.
struct PresenceEvidence {
    double ln_ratio = 0.0;
    double cents = 0.0;  ///< the likeliest place, if it sounds
    /// Of a closer look: ln of how much more likely the best explanation with this pipe is than
    /// that without. The others' timbres count, but so does every unrest of theirs.
    std::optional<double> joint{};
    double joint_cents = 0.0,
           joint_ln = 0.0;  ///< the likeliest place by both, and ln of how likely
    /// One that isn't taken to sound, but explains nearly as well what this one does.
    std::optional<std::size_t> rival{};
    /// The same by place: how likely it is expected there (any scale), and ln of the ratio there.
    struct Place {
        double cents = 0.0, expected = 0.0, ln_ratio = 0.0;
    };
    std::vector<Place> places{};
    /// ln of the ratio at the nearest of the places; 0 without any.
    double ln_at(double at) const;
    /// The most of it within `cents` on either side; that at the nearest where there is none.
    double most_ln_near(double at, double within) const;
    /// Where it stands if it sounds: by the joint evidence, which isn't asked beside other pipes;
    /// there where that is far likelier than any place that was asked.
    double likeliest_place() const;
    /// The lower pipe that it may hide behind, where that one's own partials stand and where those
    /// that both have, and ln of how much likelier these are if it does.
    struct Behind {
        std::size_t lower = 0;
        double lower_cents = 0.0, cents = 0.0, ln_ratio = 0.0;
        /// The line there is as loud as this pipe may be, louder than it would be without it, and
        /// most pipes of the key stand as near to one another.
        bool as_loud = false;
    };
    std::optional<Behind> behind{};
    bool likeliest_behind = false;  ///< of all places
};

/// ln of the ratio integrated over the places.
double integrate(std::span<const PresenceEvidence::Place> places);

/// `without`: the best explanation in which the pipe doesn't sound; `level`: power that its
/// fundamental may be expected to have; partials up to `highest` are heard.
PresenceEvidence presence_evidence(MixtureFit& fit, const MixtureState& without, std::size_t pipe,
                                   const MixtureReach& reach, double level, int highest);

/// Power that the loudest partial of a pipe that sounds may be expected to have, by the others; its
/// own when it is alone.
double usual_level(const MixtureState& state, std::size_t pipe);

/// Refined, but no pipe gone off to explain what another was taken out for.
void refine_in_place(MixtureFit& fit, MixtureState& state, int steps);

/// Judges the pipes of `state`: takes out those that others explain as well, puts in those that
/// were missed. Afterwards `state` holds the pipes that surely sound. Returns the evidence of each.
/// Partials up to `highest` are asked.
/// \pre `fit` has bands for the whole reach of every pipe.
std::vector<PresenceEvidence> judge_presence(MixtureFit& fit, MixtureState& state,
                                             std::span<const MixtureReach> reach, int highest);

/// Likelihood ratios (ln) above which a pipe is said to sound, and below which to be silent: from
/// the development keys' confusion.
inline constexpr double kSurelySounds = 3.5;
inline constexpr double kSurelySilent = -1.6;

/// What the joint evidence counts beside the ratio: from the development keys.
inline constexpr double kJointWorth = 1.0 / 60.0;

/// Of a closer look: above it a pipe is said to sound, or still to sound where it stood.
inline constexpr double kSounds = -0.3;
/// Below it, silent.
inline constexpr double kSilent = -2.2;
inline constexpr double kStillSounds = 0.0;

/// What counts of the evidence, as ln of a ratio: after a closer look with `kJointWorth`.
double judged_evidence(const PresenceEvidence& evidence);

/// What the evidence says. After a closer look it counts too how much leaving the pipe out strains
/// the others.
Presence presence_by(const PresenceEvidence& evidence, double sounds = kSounds);

}  // namespace rankwright::listening

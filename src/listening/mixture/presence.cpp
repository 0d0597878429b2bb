#include "listening/mixture/presence.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

double usual_level(const MixtureState& state, std::size_t pipe) {
    constexpr double kLouder = 4.6;  // ln, 20 dB: what is softer than the loudest by more leaks
    double loudest = -1e300, sum = 0.0, count = 0.0;
    for (std::size_t j = 0; j < state.present.size(); ++j)
        if (j != pipe && state.present[j]) loudest = std::max(loudest, state.loud[j]);
    for (std::size_t j = 0; j < state.present.size(); ++j) {
        if (j == pipe || !state.present[j] || state.loud[j] < loudest - kLouder) continue;
        sum += state.loud[j];
        count += 1.0;
    }
    return std::exp(count > 0.0 ? sum / count : state.loud[pipe]);
}

void refine_in_place(MixtureFit& fit, MixtureState& state, int steps) {
    constexpr double kMoved_cycles = 0.3;
    MixtureState refined = state;
    fit.refine(refined, steps);
    for (std::size_t k = 0; k < state.present.size(); ++k) {
        const std::size_t at = k * fit.terms();
        const double moved = (refined.unknowns[at] - state.unknowns[at]) * kCent *
                             fit.model().pipes[k].nominal_hz * fit.model().span_s;
        if (!state.present[k] || std::abs(moved) < kMoved_cycles) continue;
        fit.refine(state, 0);
        return;
    }
    state = std::move(refined);
}

namespace {

constexpr double kRival = 3.0;  // ln: two pipes as likely as this in one place aren't told apart
constexpr int kMostTries = 2;

class Judge {
  public:
    Judge(MixtureFit& fit, MixtureState& state, std::span<const MixtureReach> reach, int highest)
        : fit_(fit),
          state_(state),
          reach_(reach),
          highest_(highest),
          evidence_(reach.size()),
          rest_(reach.size()) {}

    std::vector<PresenceEvidence> judge() {
        fit_.refine(state_, 4);
        do
            take_out();
        while (put_in() || exchange() || move_one());
        return evidence_;
    }

  private:
    void place(MixtureState& state, std::size_t pipe, double cents, double level) const {
        state.present[pipe] = 1;
        std::fill_n(state.unknowns.begin() + static_cast<std::ptrdiff_t>(pipe * fit_.terms()),
                    fit_.terms(), 0.0);
        state.unknowns[pipe * fit_.terms()] = cents;
        state.level[pipe] = state.loud[pipe] = level;
    }

    MixtureState without(std::size_t pipe) const {
        MixtureState rest = state_;
        rest.present[pipe] = 0;
        refine_in_place(fit_, rest, 3);
        return rest;
    }

    bool sure(std::size_t pipe) const { return fit_.model().pipes[pipe].sure; }

    PresenceEvidence evidence(const MixtureState& rest, std::size_t pipe) const {
        return presence_evidence(fit_, rest, pipe, reach_[pipe], usual_level(state_, pipe),
                                 highest_);
    }

    // All pipes that others can stand in for: which of them are right shows when none is there.
    void take_out() {
        MixtureState rest = state_;
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (!state_.present[i] || sure(i)) continue;
            rest_[i] = without(i);
            evidence_[i] = evidence(rest_[i], i);
            if (evidence_[i].ln_ratio < kSurelySounds) rest.present[i] = 0;
        }
        if (rest.present == state_.present) return;
        refine_in_place(fit_, rest, 4);
        state_ = std::move(rest);
        rest_.assign(reach_.size(), {});
    }

    // The most evident of the pipes that aren't there.
    bool put_in() {
        std::size_t most = reach_.size();
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (state_.present[i]) continue;
            evidence_[i] = evidence(state_, i);
            if (evidence_[i].ln_ratio < kSurelySounds || tried_.at(i) >= kMostTries) continue;
            if (most == reach_.size() || evidence_[i].ln_ratio > evidence_[most].ln_ratio) most = i;
        }
        if (most == reach_.size()) return false;
        ++tried_.at(most);
        place(state_, most, evidence_[most].cents, std::log(usual_level(state_, most)));
        fit_.refine(state_, 4);
        return true;
    }

    bool might_be_another(std::size_t pipe) const {
        for (std::size_t k = 0; k < reach_.size(); ++k)
            if (!state_.present[k] && fit_.share_bands(pipe, k) && !fit_.model().twins(pipe, k))
                return true;
        return false;
    }

    // Whether a pipe that isn't there is likelier at the place of one that is; that one then gives
    // way. Undecided where it's nearly as likely and leaves the other nothing to show.
    bool exchange() {
        constexpr double kNear_cents = 1.0;
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (!state_.present[i] || sure(i)) continue;
            const double there = state_.unknowns[i * fit_.terms()];
            if (!might_be_another(i)) continue;
            if (rest_[i].present.empty()) rest_[i] = without(i);
            const MixtureState& rest = rest_[i];
            for (std::size_t k = 0; k < reach_.size(); ++k) {
                if (state_.present[k] || !fit_.share_bands(i, k) || fit_.model().twins(i, k))
                    continue;
                const PresenceEvidence rival = evidence(rest, k);
                const double more = rival.ln_ratio - evidence_[i].ln_ratio;
                if (std::abs(rival.cents - there) > kNear_cents || more < -kRival) continue;
                MixtureState instead = rest;
                place(instead, k, rival.cents, state_.level[i]);
                refine_in_place(fit_, instead, 3);
                if (evidence(instead, i).ln_ratio >= kSurelySounds) continue;
                if (more > kRival && tried_.at(k) < kMostTries) {
                    ++tried_.at(k);
                    state_ = std::move(instead);
                    return true;
                }
                evidence_[i].rival = k;
            }
        }
        return false;
    }

    // A pipe that others kept from its likelier place goes there, so that what it explained instead
    // is free for another.
    bool move_one() {
        constexpr double kElsewhere_cycles = 1.0, kLikelier = 2.0;
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (!state_.present[i] || sure(i) || tried_.at(i) >= kMostTries) continue;
            const double there = state_.unknowns[i * fit_.terms()], likelier = evidence_[i].cents;
            const double cycles =
                std::abs(likelier - there) * kCent * reach_[i].nominal_hz * fit_.model().span_s;
            if (cycles < kElsewhere_cycles ||
                evidence_[i].ln_at(likelier) < evidence_[i].ln_at(there) + kLikelier)
                continue;
            ++tried_.at(i);
            place(state_, i, likelier, state_.level[i]);
            fit_.refine(state_, 4);
            rest_.assign(reach_.size(), {});
            return true;
        }
        return false;
    }

    MixtureFit& fit_;
    MixtureState& state_;
    std::span<const MixtureReach> reach_;
    int highest_;
    std::vector<PresenceEvidence> evidence_;
    std::vector<MixtureState> rest_;  // `state_` without each pipe, where that is known
    std::array<int, 16> tried_{};
};

}  // namespace

std::vector<PresenceEvidence> judge_presence(MixtureFit& fit, MixtureState& state,
                                             std::span<const MixtureReach> reach, int highest) {
    return Judge(fit, state, reach, highest).judge();
}

double judged_evidence(const PresenceEvidence& evidence) {
    constexpr double kMostJoint = 40.0;  // another's unrest, too, may be worth more
    return evidence.ln_ratio + kJointWorth * std::min(evidence.joint.value_or(0.0), kMostJoint);
}

Presence presence_by(const PresenceEvidence& evidence, double sounds) {
    // By the lower pipe's partials: it may hide behind these, or surely does. Of 308 muted recorded
    // pipes the most is 1.2, of 71 on keys nearly in tune 0.1.
    constexpr double kMayHide = 0.5, kSurelyBehind = 2.0;
    const double ln = judged_evidence(evidence);
    if (ln >= (evidence.joint ? sounds : kSurelySounds)) return Presence::sounding;
    if (evidence.likeliest_behind && evidence.behind->ln_ratio > kSurelyBehind)
        return Presence::sounding;
    if (evidence.behind && (evidence.behind->ln_ratio > kMayHide || evidence.behind->as_loud))
        return Presence::cannot_tell;
    return ln < (evidence.joint ? kSilent : kSurelySilent) ? Presence::silent
                                                           : Presence::cannot_tell;
}

}  // namespace rankwright::listening

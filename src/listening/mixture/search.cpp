#include "listening/mixture/search.h"

#include "listening/arithmetic.h"
#include "listening/wide_registers.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

namespace rankwright::listening {

namespace {
constexpr std::size_t kBeam = 6;
constexpr std::size_t kPeaks = 3;
constexpr std::size_t kLanes = 8;
using Lanes = std::array<double, kLanes>;

/// Several places side by side: replaces their radians a second by the energy of a steady tone
/// there. Each tone turns by its own rotor.
RANKWRIGHT_WIDE void match(const double* sound_re, const double* sound_im, std::size_t n,
                           double first_s, double step_s, Lanes& places) {
    Lanes re{}, im{}, c{}, s{}, dc{}, ds{};
    for (std::size_t l = 0; l < kLanes; ++l) {
        c[l] = std::cos(places[l] * first_s);
        s[l] = -std::sin(places[l] * first_s);
        dc[l] = std::cos(places[l] * step_s);
        ds[l] = -std::sin(places[l] * step_s);
    }
    for (std::size_t i = 0; i < n; ++i)
        for (std::size_t l = 0; l < kLanes; ++l) {
            re[l] += sound_re[i] * c[l] - sound_im[i] * s[l];
            im[l] += sound_re[i] * s[l] + sound_im[i] * c[l];
            const double t = c[l] * dc[l] - s[l] * ds[l];
            s[l] = c[l] * ds[l] + s[l] * dc[l];
            c[l] = t;
        }
    for (std::size_t l = 0; l < kLanes; ++l)
        places[l] = (re[l] * re[l] + im[l] * im[l]) / static_cast<double>(n);
}

}  // namespace

std::vector<MixturePeak> scan_pipe(MixtureFit& fit, const MixtureState& state, std::size_t pipe,
                                   const MixtureReach& reach, std::size_t most) {
    const MixtureModel& model = fit.model();
    const double nominal = model.pipes[pipe].nominal_hz;
    double highest = nominal;
    struct Item {
        std::size_t band;
        int partial;
        double energy;
        std::vector<double> re, im;
    };
    std::vector<Item> items;
    for (const std::size_t b : fit.bands_of(pipe)) {
        Item item;
        if (!fit.uses(b)) continue;
        item.band = b;
        item.partial = 0;
        for (const MixtureTone& t : fit.bands()[b].tones)
            if (t.pipe == pipe && (item.partial == 0 || t.partial < item.partial))
                item.partial = t.partial;
        if (item.partial > 8) continue;
        fit.residual(b, state, item.re, item.im);
        item.energy = 0.0;
        for (std::size_t i = 0; i < item.re.size(); ++i)
            item.energy += item.re[i] * item.re[i] + item.im[i] * item.im[i];
        highest = std::max(highest, item.partial * nominal);
        items.push_back(std::move(item));
    }
    const double step = 0.25 / (model.span_s * highest);
    const auto count = static_cast<std::size_t>(std::ceil((reach.high - reach.low) / step)) + 1;
    std::vector<double> score(count, 0.0);
    std::vector<double> here(count);
    for (const Item& item : items) {
        const MixtureBand& band = fit.bands()[item.band];
        const std::size_t n = band.size();
        const double hz = item.partial * nominal;
        const double floor = static_cast<double>(n) * band.floor;
        // Grid as coarse as this partial allows, between by lines.
        const double own = 0.2 / (model.span_s * hz);
        const auto points = static_cast<std::size_t>(std::ceil((reach.high - reach.low) / own)) + 2;
        std::vector<double> value(points);
        for (std::size_t p = 0; p < points; p += kLanes) {
            Lanes taken;
            for (std::size_t l = 0; l < kLanes; ++l)
                taken[l] = kTurn * (hz * (1.0 + reach.low + own * static_cast<double>(p + l)) -
                                    band.centre_hz);
            match(item.re.data(), item.im.data(), n, band.first_s, 1.0 / band.rate, taken);
            for (std::size_t l = 0; l < kLanes && p + l < points; ++l) {
                const double before = item.energy + floor;
                const double after = std::max(item.energy - taken[l], 0.0) + floor;
                const double gain =
                    model.temper * static_cast<double>(n) * std::log(before / after);
                value[p + l] =
                    std::max(0.0, gain - 2.0) - (item.partial == 1 && gain < 3.0 ? 3.0 : 0.0);
            }
        }
        for (std::size_t p = 0; p < count; ++p) {
            const double at = step * static_cast<double>(p) / own;
            const auto i = std::min(static_cast<std::size_t>(at), points - 2);
            const double u = at - static_cast<double>(i);
            score[p] += (1.0 - u) * value[i] + u * value[i + 1];
        }
    }
    std::vector<MixturePeak> peaks;
    for (std::size_t p = 0; p < count; ++p) {
        const double x = (reach.low + step * static_cast<double>(p)) / kCent;
        const double u = (x - model.pipes[pipe].centre) / model.pipes[pipe].sd;
        const double s = score[p] - 2.0 * std::log1p(u * u / 3.0);
        const bool top =
            (p == 0 || score[p] >= score[p - 1]) && (p + 1 == count || score[p] > score[p + 1]);
        if (top && score[p] > 0.5) peaks.push_back({x, s});
    }
    std::sort(peaks.begin(), peaks.end(),
              [](const auto& a, const auto& b) { return a.score > b.score; });
    std::vector<MixturePeak> kept;
    const double apart = 0.5 / (model.span_s * highest * kCent);
    for (const MixturePeak& p : peaks) {
        if (std::all_of(kept.begin(), kept.end(),
                        [&](const auto& k) { return std::abs(k.cents - p.cents) > apart; }))
            kept.push_back(p);
        if (kept.size() == most) break;
    }
    return kept;
}

namespace {

// Takes a trial, refined, in place of the state where it is better. `keep_all`: only where no pipe
// that stood out is left with nothing.
class Attempts {
  public:
    Attempts(MixtureFit& fit, MixtureState& state, int steps, bool keep_all)
        : fit_(fit), state_(state), steps_(steps), stood_out_(state.present.size(), 0) {
        for (std::size_t j = 0; keep_all && j < stood_out_.size(); ++j)
            stood_out_[j] = state.present[j] && fit.stands_out(state, j);
    }

    bool operator()(MixtureState trial) {
        constexpr double kBetter = 0.5, kHopeless = 60.0;
        const std::size_t terms = fit_.terms();
        for (std::size_t j = 0; j < stood_out_.size(); ++j)
            if (trial.present[j] && trial.unknowns[j * terms] != state_.unknowns[j * terms])
                for (std::size_t m = 1; m < terms; ++m)
                    trial.unknowns[j * terms + m] = 0.0;
        fit_.refine(trial, 2);
        if (trial.evidence < state_.evidence - kHopeless) return false;
        fit_.refine(trial, steps_);
        if (trial.evidence < state_.evidence + kBetter) return false;
        for (std::size_t j = 0; j < stood_out_.size(); ++j)
            if (stood_out_[j] && !fit_.stands_out(trial, j)) return false;
        state_ = std::move(trial);
        improved_ = true;
        return true;
    }

    bool improved() const { return improved_; }

  private:
    MixtureFit& fit_;
    MixtureState& state_;
    int steps_;
    bool improved_ = false;
    std::vector<char> stood_out_;
};

bool within_reach(double cents, const MixtureReach& reach) {
    return cents * kCent >= reach.low && cents * kCent <= reach.high;
}

// Each two in one another's place. With `apart_cents`: only those that are both there, as far from
// one another at least.
void swap_pairs(MixtureFit& fit, const MixtureState& state, std::span<const MixtureReach> reach,
                std::optional<double> apart_cents, Attempts& attempt) {
    const std::size_t terms = fit.terms();
    const auto& pipes = fit.model().pipes;
    for (std::size_t i = 0; i < reach.size(); ++i)
        for (std::size_t j = 0; j < i; ++j) {
            if (!fit.share_bands(i, j) || (!state.present[i] && !state.present[j])) continue;
            const double apart = state.unknowns[i * terms] - state.unknowns[j * terms];
            if (apart_cents &&
                (!state.present[i] || !state.present[j] || std::abs(apart) < *apart_cents))
                continue;
            if (pipes[i].sure || pipes[j].sure || fit.model().twins(i, j)) continue;
            MixtureState trial = state;
            std::swap(trial.unknowns[i * terms], trial.unknowns[j * terms]);
            std::swap(trial.present[i], trial.present[j]);
            std::swap(trial.level[i], trial.level[j]);
            std::swap(trial.loud[i], trial.loud[j]);
            if ((trial.present[i] && !within_reach(trial.unknowns[i * terms], reach[i])) ||
                (trial.present[j] && !within_reach(trial.unknowns[j * terms], reach[j])))
                continue;
            attempt(std::move(trial));
        }
}

}  // namespace

bool swap_mixture(MixtureFit& fit, MixtureState& state, std::span<const MixtureReach> reach,
                  double apart_cents, int steps) {
    Attempts attempt(fit, state, steps, true);
    swap_pairs(fit, state, reach, apart_cents, attempt);
    return attempt.improved();
}

bool polish_mixture(MixtureFit& fit, MixtureState& state, std::span<const MixtureReach> reach,
                    int steps, bool scan, std::span<const std::vector<double>> also) {
    const std::size_t pipes = reach.size(), terms = fit.terms();
    Attempts attempt(fit, state, steps, !scan);
    const auto sure = [&](std::size_t j) { return fit.model().pipes[j].sure; };
    swap_pairs(fit, state, reach, std::nullopt, attempt);
    for (std::size_t i = 0; scan && i < pipes; ++i)
        for (std::size_t j = 0; j < pipes; ++j) {  // j where i is, i anew
            if (i == j || !state.present[i] || sure(i) || sure(j) || !fit.share_bands(i, j) ||
                !within_reach(state.unknowns[i * terms], reach[j]))
                continue;
            MixtureState base = state;
            base.present[i] = 0;
            base.present[j] = 1;
            base.unknowns[j * terms] = state.unknowns[i * terms];
            base.level[j] = state.level[i];
            fit.refine(base, 2);
            for (const MixturePeak& peak : scan_pipe(fit, base, i, reach[i], 2)) {
                MixtureState trial = base;
                trial.present[i] = 1;
                trial.unknowns[i * terms] = peak.cents;
                if (attempt(std::move(trial))) break;
            }
        }
    for (std::size_t j = 0; j < pipes; ++j) {
        if (sure(j)) continue;
        const double now = state.unknowns[j * terms];
        const auto stands_there = [&](double cents) {
            return state.present[j] && std::abs(cents - now) * kCent *
                                               fit.model().pipes[j].nominal_hz *
                                               fit.model().span_s <
                                           0.01;
        };
        std::vector<double> places, of_others;
        if (j < also.size()) places = also[j];
        for (std::size_t i = 0; i < pipes; ++i)
            if (i != j && state.present[i] && fit.share_bands(i, j) &&
                within_reach(state.unknowns[i * terms], reach[j]))
                of_others.push_back(state.unknowns[i * terms]);
        if (!scan && of_others.empty() && std::all_of(places.begin(), places.end(), stands_there))
            continue;
        MixtureState without = state;
        without.present[j] = 0;
        fit.refine(without, 2);
        if (scan)
            for (const MixturePeak& peak : scan_pipe(fit, without, j, reach[j], 3))
                places.push_back(peak.cents);
        places.insert(places.end(), of_others.begin(), of_others.end());
        for (const double cents : places) {
            if (stands_there(cents)) continue;
            for (const bool others :
                 {true, false}) {  // as they are without it; as they were with it
                if (!others && !state.present[j]) continue;
                MixtureState trial = others ? without : state;
                trial.present[j] = 1;
                trial.unknowns[j * terms] = cents;
                attempt(std::move(trial));
            }
        }
    }
    return attempt.improved();
}

std::vector<MixtureState> search_mixture(MixtureFit& fit, std::span<const MixtureReach> reach) {
    const MixtureModel& model = fit.model();
    const std::size_t pipes = model.pipes.size();
    std::vector<std::size_t> order(pipes);
    for (std::size_t j = 0; j < pipes; ++j)
        order[j] = j;
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
        return model.pipes[a].nominal_hz < model.pipes[b].nominal_hz;
    });
    std::vector<MixtureState> beam{fit.start()};
    for (std::size_t j = 0; j < pipes; ++j)
        beam[0].present[j] = model.pipes[j].sure;
    const auto alike = [&](const MixtureState& a, const MixtureState& b) {
        if (a.present != b.present) return false;
        for (std::size_t i = 0; i < pipes; ++i)
            if (a.present[i] &&
                std::abs(a.unknowns[i * fit.terms()] - b.unknowns[i * fit.terms()]) * kCent *
                        model.pipes[i].nominal_hz * model.span_s >
                    0.05)
                return false;
        return true;
    };
    const auto prune = [&](std::vector<MixtureState>& states, std::size_t most) {
        std::sort(states.begin(), states.end(),
                  [](const auto& a, const auto& b) { return a.evidence > b.evidence; });
        std::vector<MixtureState> kept;
        for (MixtureState& s : states) {
            if (kept.size() == most) break;
            if (std::none_of(kept.begin(), kept.end(), [&](const auto& k) { return alike(k, s); }))
                kept.push_back(std::move(s));
        }
        states = std::move(kept);
    };
    for (const std::size_t j : order) {
        if (model.pipes[j].sure) continue;
        // Bands where no pipe still to come has a partial, so that nothing is explained by this
        // pipe that belongs to a higher one.
        std::vector<char> use(fit.bands().size(), 0);
        for (std::size_t b = 0; b < use.size(); ++b)
            use[b] = std::all_of(fit.bands()[b].tones.begin(), fit.bands()[b].tones.end(),
                                 [&](const MixtureTone& t) {
                                     return model.pipes[t.pipe].nominal_hz <
                                            1.001 * model.pipes[j].nominal_hz;
                                 });
        fit.use(use);
        std::vector<MixtureState> next;
        for (MixtureState state : beam) {
            fit.refine(state, 1);
            for (const MixturePeak& peak : scan_pipe(fit, state, j, reach[j], kPeaks)) {
                MixtureState with = state;
                with.present[j] = 1;
                with.unknowns[j * fit.terms()] = peak.cents;
                fit.refine(with, 4);
                next.push_back(std::move(with));
            }
            next.push_back(std::move(state));
        }
        prune(next, kBeam);
        beam = std::move(next);
    }
    fit.use(std::vector<char>(fit.bands().size(), 1));
    for (MixtureState& state : beam)
        fit.refine(state, 5);
    prune(beam, 4);
    for (int pass = 0; pass < 2; ++pass) {
        if (!polish_mixture(fit, beam[0], reach, 4, true)) break;
        prune(beam, 4);
    }
    return beam;
}

}  // namespace rankwright::listening

// Reads mixture keys mixed from recorded pipes and prints how they were read: by hand, as
//   mixture_laboratory seed=7 keys=30 silent=0.25 leaking=0.25 leak=-30 spread=4.5 seconds=2.4
//     ranks=Montre8,Trompette8 six=1 doubled=1 apart=0.2 reference=1 reference-off=0.2 rows=1
//     only=12 truth=1 short=1.2
// rows=2: every pipe also as it is read alone; apart: cents between the two of one pitch;
// reference-off: cents by which the number given is wrong; only: that key; truth: the ear is told
// where the pipes are that sound; truth=2: where the muted ones were, too, as if they had sounded a
// moment ago; short: only the middle of the span, and then as much more as the reading asks for, to
// see whether that parts what it said it would. The truth is in mixture_cases.h.
#include "accuracy/mixture_cases.h"
#include "listening/mixture/mixture.h"
#include "support/coverage.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <ctime>
#include <map>
#include <optional>
#include <random>
#include <span>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::testing {
namespace {

using Options = std::map<std::string, std::string>;

double number(const Options& options, const char* name, double otherwise) {
    const auto found = options.find(name);
    return found == options.end() ? otherwise : std::stod(found->second);
}

struct Tally {
    Errors errors;
    std::array<std::array<int, 3>, 3> said{};  // [sounding, leaking, silent][Presence]
    double worst_key_s = 0.0;
    double all_s = 0.0;
};

void print_open(const listening::MixturePipeReading& pipe) {
    static const char* why[] = {"hidden", "soft", "noise", "crowded", "above", "stray", "unsteady"};
    if (pipe.untold) std::printf(" %s", why[static_cast<std::size_t>(*pipe.untold)]);
    for (const std::size_t other : pipe.unresolved_with)
        std::printf(" |%zu", other + 1);
    if (pipe.mute_one) std::printf(" mute");
    if (pipe.to_part) std::printf(" %.1f s", pipe.to_part->count());
}

void print_key(int k, const MixedKey& key, const listening::MixtureReading& reading, double took,
               bool alone_too) {
    std::printf("key %d, unison %.1f Hz, %.2f s of processor time\n", k, key.request.unison.value(),
                took);
    for (std::size_t j = 0; j < key.pipes.size(); ++j) {
        const MixedPipe& truth = key.pipes[j];
        const listening::MixturePipeReading& pipe = reading.pipes[j];
        const Hertz pure = key.request.unison * key.request.pipes[j].value();
        const double cents = interval(pure, Hertz{truth.hz}).value();
        static const char* said[] = {"sounds", "silent", "can't tell"};
        const bool right = (pipe.presence == listening::Presence::silent) == truth.silent &&
                           pipe.presence != listening::Presence::cannot_tell;
        std::printf("  %6.3f %8.1f Hz %s %6.1f dB %+8.3f: %-10s", key.request.pipes[j].value(),
                    pure.value(),
                    truth.silent  ? "muted "
                    : truth.leaks ? "leaks "
                                  : "sounds",
                    truth.db, cents, said[static_cast<std::size_t>(pipe.presence)]);
        if (pipe.cents)
            std::printf(
                " %+8.3f ± %.3f (%.1f sd) %.1f dB", pipe.cents->value(), pipe.cents_sd->value(),
                (pipe.cents->value() - cents) / pipe.cents_sd->value(), pipe.level->value());
        print_open(pipe);
        if (!truth.silent && alone_too) {
            // The same pipe read while it is alone.
            listening::MixtureRequest alone = key.request;
            alone.pipes = {key.request.pipes[j]};
            alone.reference.reset();
            const auto one = listening::measure_mixture(truth.alone, alone);
            if (one && one->pipes[0].cents)
                std::printf("  alone %+.3f ± %.3f", one->pipes[0].cents->value() - cents,
                            one->pipes[0].cents_sd->value());
        }
        std::printf(" %s%s\n", truth.source.c_str(), right ? "" : "  <<");
    }
    if (reading.reference && reading.reference->cents)
        std::printf("  reference %.1f Hz: %+.3f ± %.3f %.1f dB\n", key.request.reference->value(),
                    reading.reference->cents->value(), reading.reference->cents_sd->value(),
                    reading.reference->level->value());
}

std::optional<listening::MixtureReading> hear_middle(const MixedKey& key, double seconds) {
    const auto count =
        std::min(key.samples.size(), static_cast<std::size_t>(seconds * key.request.rate.value()));
    return listening::measure_mixture(
        std::span(key.samples).subspan((key.samples.size() - count) / 2, count), key.request);
}

bool open_with(const listening::MixturePipeReading& pipe, const std::vector<std::size_t>& others) {
    if (pipe.presence == listening::Presence::cannot_tell) return true;
    return std::any_of(others.begin(), others.end(), [&](std::size_t other) {
        const auto& with = pipe.unresolved_with;
        return std::find(with.begin(), with.end(), other) != with.end();
    });
}

struct Parting {
    struct Row {
        int open = 0, asks_for_more = 0, parted = 0;
        int to_mute = 0, parted_yet = 0;  // by all there is, though no time was promised
    };
    std::array<Row, 2> rows{};  // can't tell, sounding
    void hear(const MixedKey& key, double seconds, double all);
};

void Parting::hear(const MixedKey& key, double seconds, double all) {
    const auto first = hear_middle(key, seconds);
    for (std::size_t j = 0; first && j < first->pipes.size(); ++j) {
        const listening::MixturePipeReading& pipe = first->pipes[j];
        if (pipe.unresolved_with.empty()) continue;
        Row& row = rows.at(pipe.presence == listening::Presence::cannot_tell ? 0 : 1);
        ++row.open;
        const bool timed = pipe.to_part.has_value();
        const double asked = timed ? pipe.to_part->count() : all;
        if (!timed) ++row.to_mute;
        if (asked > all) {
            ++row.asks_for_more;
            continue;
        }
        const auto parted = [&](double by) {
            const auto then = hear_middle(key, by);
            return then && !open_with(then->pipes[j], pipe.unresolved_with);
        };
        const bool now = parted(asked);
        if (now) ++(timed ? row.parted : row.parted_yet);
        std::printf("  %s pipe %zu%s %.1f s: %s%s\n", key.pipes[j].silent ? "muted" : "open", j + 1,
                    timed ? " asked for" : " to be muted, all", asked, now ? "told" : "not yet",
                    now || !timed ? ""
                    : parted(all) ? ", by all of it"
                                  : ", nor by all");
    }
}

int judge(const Options& options) {
    MixtureDraw wanted;
    wanted.silent = number(options, "silent", 0.0);
    wanted.leaking = number(options, "leaking", 0.0);
    wanted.leak_db = number(options, "leak", -30.0);
    wanted.sd_cents = number(options, "spread", 4.5);
    wanted.seconds = number(options, "seconds", 2.4);
    wanted.six = number(options, "six", 0.0) > 0.0;
    wanted.doubled = number(options, "doubled", 0.0) > 0.0;
    wanted.apart_cents = number(options, "apart", 0.0);
    wanted.reference = number(options, "reference", 0.0) > 0.0;
    if (const auto ranks = options.find("ranks"); ranks != options.end()) {
        wanted.ranks.clear();
        std::istringstream in(ranks->second);
        for (std::string rank; std::getline(in, rank, ',');)
            wanted.ranks.push_back(rank);
    }
    const int keys = static_cast<int>(number(options, "keys", 20));
    const int only = static_cast<int>(number(options, "only", -1));
    std::mt19937_64 random(static_cast<std::uint64_t>(number(options, "seed", 1)));
    const MixtureRecordings recordings(wanted.ranks);
    Tally tally;
    Parting parting;
    for (int k = 0, tries = 0; k < keys && tries < 20 * keys; ++tries) {
        const auto key = recordings.draw(wanted, random);
        if (!key) continue;
        ++k;
        if (const double part = number(options, "short", 0.0); part > 0.0) {
            parting.hear(*key, part, wanted.seconds);
            continue;
        }
        if (only >= 0 && only != k) continue;
        const std::clock_t began = std::clock();
        auto request = key->request;
        if (request.reference)
            request.reference =
                transpose(*request.reference, Cents{number(options, "reference-off", 0.0)});
        if (number(options, "truth", 0.0) > 0.0) {
            request.before.resize(key->pipes.size());
            for (std::size_t j = 0; j < key->pipes.size(); ++j) {
                const Hertz pure = request.unison * request.pipes[j].value();
                if (!key->pipes[j].silent || number(options, "truth", 0.0) > 1.0)
                    request.before[j] = interval(pure, Hertz{key->pipes[j].hz});
            }
        }
        auto reading = listening::measure_mixture(key->samples, request);
        const double took = static_cast<double>(std::clock() - began) / CLOCKS_PER_SEC;
        tally.all_s += took;
        tally.worst_key_s = std::max(tally.worst_key_s, took);
        if (!reading) {
            std::printf("key %d: no answer\n", k);
            continue;
        }
        *reading = in_best_order(std::move(*reading), *key);
        const double rows = number(options, "rows", 0.0);
        if (rows > 0.0) print_key(k, *key, *reading, took, rows > 1.0);
        for (std::size_t j = 0; j < key->pipes.size(); ++j) {
            const MixedPipe& truth = key->pipes[j];
            const listening::MixturePipeReading& pipe = reading->pipes[j];
            const std::size_t row = truth.silent ? 2 : truth.leaks ? 1 : 0;
            ++tally.said[row][static_cast<std::size_t>(pipe.presence)];
            const Hertz pure = key->request.unison * key->request.pipes[j].value();
            if (pipe.cents && !truth.silent)
                tally.errors.add(pipe.cents->value() - interval(pure, Hertz{truth.hz}).value(),
                                 pipe.cents_sd->value());
        }
    }
    for (const Parting::Row& row : parting.rows)
        if (number(options, "short", 0.0) > 0.0)
            std::printf(
                "%s: %d open; %d ask for more than there is, %d of %d told after as long as "
                "they asked for; %d to be muted, of which all there is tells %d\n",
                &row == &parting.rows[0] ? "can't tell" : "sounding", row.open, row.asks_for_more,
                row.parted, row.open - row.asks_for_more - row.to_mute, row.to_mute,
                row.parted_yet);
    std::printf(
        "%zu pitches: median %.4f, 95 %% %.3f, worst %.2f cent; within 1 sd %.2f, 2 sd "
        "%.2f, 3 sd %.2f; median sd %.4f; %.2f s a key, at most %.2f\n",
        tally.errors.count(), tally.errors.median(), tally.errors.worst_of_20(),
        tally.errors.worst(), tally.errors.within(1.0), tally.errors.within(2.0),
        tally.errors.within(3.0), tally.errors.median_uncertainty(), tally.all_s / keys,
        tally.worst_key_s);
    const char* rows[] = {"sounding", "leaking", "silent"};
    for (std::size_t r = 0; r < 3; ++r)
        std::printf("  %-8s said to sound %3d, silent %3d, can't tell %3d\n", rows[r],
                    tally.said[r][0], tally.said[r][1], tally.said[r][2]);
    return 0;
}

}  // namespace
}  // namespace rankwright::testing

int main(int argc, char** argv) {
    rankwright::testing::Options options;
    for (int i = 1; i < argc; ++i) {
        const std::string word = argv[i];
        const std::size_t equals = word.find('=');
        options[word.substr(0, equals)] =
            equals == std::string::npos ? "1" : word.substr(equals + 1);
    }
    return rankwright::testing::judge(options);
}

// The two-pipe laboratory, run by hand: rows of synthetic and recorded pairs against what is true
// of each pipe alone, printed, and written to results/ as CSV and SVG.
//   pair_laboratory [--seed N] [--cases N] [--rows WORD,...] [--keys LOWEST HIGHEST]
//     [--beats SLOWEST FASTEST] [--levels DB] [RANK...]
// Rows: steady, wander, long, room, blower, unison, octave, twelfth, recording, number, whole.
#include "accuracy/recorded_pairs.h"
#include "accuracy/synthetic_pairs.h"
#include "accuracy/whole_pairs.h"

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>

namespace {

using namespace rankwright::testing;

struct Asked {
    unsigned long seed = 301;
    int cases = 40;
    int lowest = 42, highest = 91;  // MIDI, of the recorded rows
    double slowest = 0.1, fastest = 5.0, level_db = 12.0;
    std::string rows =
        "steady,wander,long,room,blower,unison,octave,twelfth,recording,number,whole";
    std::vector<std::string> ranks;
};

bool wants(const Asked& asked, const std::string& row) {
    return ("," + asked.rows + ",").find("," + row + ",") != std::string::npos;
}

template <typename Judge>
void run(const Asked& asked, const std::string& name, Judge&& judge) {
    if (!wants(asked, name)) return;
    std::mt19937_64 random(asked.seed);
    PairRow row(name);
    judge(row, random);
    row.print();
    row.plot();
    std::fflush(stdout);
}

RecordedPairs recorded(const Asked& asked) {
    RecordedPairs wanted;
    if (!asked.ranks.empty()) wanted.ranks = asked.ranks;
    wanted.count = asked.cases;
    wanted.lowest = asked.lowest;
    wanted.highest = asked.highest;
    wanted.slowest = asked.slowest;
    wanted.fastest = asked.fastest;
    wanted.level_db = asked.level_db;
    return wanted;
}

void run_recorded(const Asked& asked, const std::string& name, int m, KnownBy known) {
    run(asked, name, [&](PairRow& row, std::mt19937_64& random) {
        RecordedPairs wanted = recorded(asked);
        wanted.reference_partial = m;
        wanted.known = known;
        if (!judge_recorded(row, wanted, random)) std::printf("(no more such pairs) ");
    });
}

}  // namespace

int main(int argc, char** argv) {
    Asked asked;
    for (int i = 1; i < argc; ++i) {
        const bool more = i + 1 < argc;
        if (more && std::strcmp(argv[i], "--seed") == 0)
            asked.seed = std::strtoul(argv[++i], nullptr, 10);
        else if (more && std::strcmp(argv[i], "--cases") == 0)
            asked.cases = std::atoi(argv[++i]);
        else if (more && std::strcmp(argv[i], "--rows") == 0)
            asked.rows = argv[++i];
        else if (i + 2 < argc && std::strcmp(argv[i], "--keys") == 0) {
            asked.lowest = std::atoi(argv[++i]);
            asked.highest = std::atoi(argv[++i]);
        } else if (i + 2 < argc && std::strcmp(argv[i], "--beats") == 0) {
            asked.slowest = std::atof(argv[++i]);
            asked.fastest = std::atof(argv[++i]);
        } else if (more && std::strcmp(argv[i], "--levels") == 0) {
            asked.level_db = std::atof(argv[++i]);
        } else
            asked.ranks.push_back(argv[i]);
    }
    run(asked, "steady", [&](PairRow& row, auto& r) { judge_steady(row, asked.cases, r); });
    for (const auto& [name, by] : {std::pair{"wander", Disturbed::wander},
                                   {"room", Disturbed::room},
                                   {"blower", Disturbed::blower}})
        run(asked, name,
            [&, by = by](PairRow& row, auto& r) { judge_disturbed(row, by, asked.cases, r); });
    run(asked, "long", [&](PairRow& row, auto& r) {
        judge_disturbed(row, Disturbed::wander, asked.cases, r, 9.0);
    });
    run_recorded(asked, "unison", 1, KnownBy::moment_ago);
    run_recorded(asked, "octave", 2, KnownBy::moment_ago);
    run_recorded(asked, "twelfth", 3, KnownBy::moment_ago);
    run_recorded(asked, "recording", 1, KnownBy::recording);
    run_recorded(asked, "number", 1, KnownBy::number);
    run(asked, "whole", [&](PairRow& row, std::mt19937_64& random) {
        if (!judge_whole(row, recorded(asked), random)) std::printf("(no more such pairs) ");
    });
    return 0;
}

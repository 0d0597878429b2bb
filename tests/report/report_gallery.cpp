// Writes the report of an invented visit of some 150 pipes as a page: report_gallery PAGE.html
#include "report/report_page.h"
#include "storage/instrument_file.h"
#include "support/two_visits.h"

#include <cstdio>
#include <fstream>
#include <random>

namespace {

using namespace rankwright;

void work(testing::TwoVisits& visits, const organ::Instrument& instrument) {
    std::mt19937 random(7);
    std::normal_distribution<double> normal;
    visits.read_thermometers();
    visits.second.add(visit::AirReading{"swell", Celsius{23.4}, 0.41});
    visits.measure_pitch();
    visits.second.add(visit::Remark{
        {}, {}, "The full organ sounds sour in the gallery since the heating was changed.", true});
    visits.second.add(
        visit::Remark{StopId{"great", "trumpet-8"}, 49,
                      "Speaks late; the organist leaves it out of \"Prelude & fugue\".", true});
    visits.second.add(
        visit::Remark{StopId{"swell", "gedackt-8"}, {}, "Box smells of new varnish.", false});
    for (const char* name : {"Principal 8'", "Trumpet 8'", "Mixture III"}) {
        const bool reed = name[0] == 'T';
        const bool mixture = name[0] == 'M';
        for (const organ::Pipe& pipe : organ::pipes(*organ::find_stop(instrument, name))) {
            if (mixture && (pipe.id.row > 1 || pipe.key > 30)) continue;
            const PipeId reference{"great", "octave-4", 1, pipe.key};
            if (pipe.key == 50 && !mixture) {
                visits.second.add(visit::OutOfReach{pipe.id, true});
                continue;
            }
            if (pipe.key == 17 && reed) {
                visits.second.add(visit::Fault{pipe.id, "dead", "no wind at the toe"});
                continue;
            }
            double moved = (reed ? 1.8 : 0.6) * normal(random) + (reed ? -1.5 : 0.2);
            if (pipe.key == 34 && !reed) moved = 7.5;
            if (pipe.key == 8 && reed) moved = -19.0;
            const bool open = pipe.key % 29 == 11;
            const double again = open ? 1.7 : 0.15 * normal(random);
            visits.tune(pipe, 0.15 * normal(random), moved, again, 3.0 * normal(random),
                        mixture ? std::optional<PipeId>{} : reference);
            if (pipe.key == 41 && reed)
                visits.second.add(visit::Fault{pipe.id, "slow of speech", ""});
        }
    }
    visits.second.add(visit::ListChange{{"swell", "celeste-8", 1, 20}, visit::ListState::wanted});
    visits.second.record.ended = visits.second.at;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 2) return std::fprintf(stderr, "report_gallery PAGE.html\n"), 2;
    const auto instrument = storage::load_instrument(RANKWRIGHT_INSTRUMENTS "/emberlow.toml");
    testing::TwoVisits visits(*instrument, 18.0, 22.5);
    work(visits, *instrument);
    const auto earlier = visit::readings_of(visits.first.record.id, visits.first.entries).left;
    std::ofstream(argv[1]) << report::to_html(
        report::compose({visits.second.record, visits.second.entries, &*instrument, earlier}));
    return 0;
}

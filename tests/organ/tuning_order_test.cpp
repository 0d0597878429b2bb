// References before what is tuned from them, reeds after flues: common practice, no source.
#include "organ/tuning_order.h"

#include <string>

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace tuning_order_test {

Stop stop(const std::string& id, const char* feet, PipeKind kind = PipeKind::open) {
    Stop made;
    made.id = id;
    made.name = id;
    made.footage = *parse_footage(feet);
    MakeRange make;
    make.make.kind = kind;
    made.makes = {make};
    return made;
}

TEST(TuningOrder, ReferencesComeFirstReedsLastAndTheFeetDecideTheRest) {
    Instrument instrument;
    Division great;
    great.id = great.name = "great";
    Stop trumpet = stop("trumpet-8", "8", PipeKind::reed_full);
    Stop principal = stop("principal-8", "8");
    principal.tuned_from = {{1, "great", "octave-4", 0}};
    trumpet.tuned_from = {{1, "great", "octave-4", 0}, {13, "great", "trumpet-8", -12}};
    great.stops = {trumpet, principal, stop("octave-4", "4")};
    Division swell;
    swell.id = swell.name = "swell";
    swell.level = 2;
    Stop celeste = stop("celeste-8", "8");
    celeste.celeste = Celeste{"swell", "gamba-8", {{1, Hertz{1.0}}}};
    swell.stops = {celeste, stop("gamba-8", "8")};
    instrument.divisions = {swell, great};
    std::string order;
    for (const StopRef& ref : tuning_order(instrument))
        order += ref.stop->id + " ";
    EXPECT_EQ(order, "octave-4 principal-8 gamba-8 celeste-8 trumpet-8 ");
}

}  // namespace tuning_order_test
}  // namespace rankwright::organ

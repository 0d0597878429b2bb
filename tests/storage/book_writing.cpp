// Works at a visit until it is killed: posts entries as fast as they are written and prints every
// serial that was acknowledged. `book_writing BOOK`; goes on with the visit that is open there.
#include "storage/book_writer.h"
#include "support/book_entries.h"

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <thread>

int main(int argc, char** argv) {
    using namespace rankwright;
    if (argc != 2) return 2;
    auto visit = testing::invented_visit("00000000-0000-4000-8000-00000000dead");
    if (const auto book = storage::TuningBook::open(argv[1])) {
        const auto open = book->open_visit(visit.organ);
        if (open && *open) visit = **open;
    }
    storage::BookWriter writer(argv[1], visit);
    std::uint64_t posted = visit.last_serial, printed = posted;
    for (;;) {
        while (posted < writer.acknowledged() + 20) {
            ++posted;
            writer.post(testing::BookEntries(posted).entry(posted));
        }
        while (printed < writer.acknowledged())
            std::printf("%llu\n", static_cast<unsigned long long>(++printed));
        std::fflush(stdout);
        std::this_thread::sleep_for(std::chrono::microseconds(200));
    }
}

#include "app/mixture_work.h"

#include <utility>

namespace rankwright::app {

MixtureWork::MixtureWork(visit::Run& run, MixtureEar::When when)
    : run_(run), order_(run), ear_(tuning::MixtureKey::kSpan, when) {}

void MixtureWork::expect(std::optional<Hertz> reference) {
    order_.follow_run();
    tuning::KeyExpectation expected = order_.expectation();
    expected.reference = reference;
    key_.expect(std::move(expected));
}

void MixtureWork::hear_whole() {
    if (auto question = key_.ask(); question && !ear_.ask(question->id, question->request))
        key_.answer(question->id, std::nullopt);
    if (auto answer = ear_.answer()) key_.answer(answer->id, std::move(answer->reading));
}

bool MixtureWork::follow(Seconds at, const listening::Hearing& hearing,
                         const tuning::PipeState& single) {
    key_.hear(at, hearing, single);
    hear_whole();
    // With all pipes sounding, no figure of a single one is kept.
    if (!order_.none_muted() && run_.follow(key_.shown(single))) return true;
    return order_.follow(key_.state());
}

bool MixtureWork::follow(Seconds at, const tuning::PairedState& paired) {
    key_.hear_beside_reference(at, paired.pipe);
    hear_whole();
    tuning::PairedState shown = paired;
    shown.pipe = key_.shown(paired.pipe);
    if (!order_.none_muted() && run_.follow(shown)) return true;
    return order_.follow(key_.state());
}

}  // namespace rankwright::app

#include "listening/pair/channels.h"

namespace rankwright::listening {

namespace {

/// How much better, in power over what is between the partials.
constexpr double kClearlyBetter = 2.0;
constexpr double kNothing = 1e-15;

double heard(const PairWatch& watch) {
    return watch.present() ? watch.line_power() / (watch.between_power() + kNothing) : 0.0;
}

}  // namespace

PairChannels::PairChannels(SampleRate rate, int channels) {
    for (int c = 0; c < channels; ++c)
        watches_.emplace_back(rate, c);
}

void PairChannels::expect(Hertz reference, int m, int n, const SoundHistory& sound) {
    for (PairWatch& watch : watches_)
        watch.expect(reference, m, n, sound);
}

void PairChannels::advance(const SoundHistory& sound) {
    for (PairWatch& watch : watches_)
        watch.advance(sound);
}

void PairChannels::choose() {
    for (std::size_t c = 0; c < watches_.size(); ++c)
        if (heard(watches_[c]) > kClearlyBetter * heard(watches_[chosen_])) chosen_ = c;
}

}  // namespace rankwright::listening

#include "listening/pair/stream.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

std::int64_t ceil_divide(std::int64_t a, std::int64_t b) { return (a + b - 1) / b; }

}  // namespace

PairStream::PairStream(SampleRate rate, Seconds kept, double least_rate)
    : rate_(rate), kept_(kept), least_rate_(least_rate) {}

void PairStream::begin(std::span<const Line> lines, const SoundHistory& sound, int channel,
                       FrameIndex from) {
    channel_ = channel;
    cuts_.clear();
    const FrameIndex begin = std::max(from, sound.begin());
    for (const Line& line : lines) {
        Cut cut{line, BandFilter(rate_, line.line, kept_.count(), least_rate_), 0, {}, 0};
        const auto half = static_cast<std::int64_t>(cut.filter.half);
        cut.first = ceil_divide(begin.value + half, static_cast<std::int64_t>(cut.filter.step));
        cut.keep = static_cast<std::size_t>(kept_.count() * cut.filter.rate) + 2;
        cut.z.reserve(2 * cut.keep);
        cuts_.push_back(std::move(cut));
    }
    advance(sound);
}

void PairStream::advance(const SoundHistory& sound) {
    for (Cut& cut : cuts_) {
        const auto step = static_cast<std::int64_t>(cut.filter.step);
        const auto half = static_cast<std::int64_t>(cut.filter.half);
        auto next = cut.first + static_cast<std::int64_t>(cut.z.size());
        if (next * step - half < sound.begin().value) {
            cut.z.clear();
            cut.first = next = ceil_divide(sound.begin().value + half, step);
        }
        for (; next * step + half + 1 <= sound.end().value; ++next) {
            if (cut.z.size() == 2 * cut.keep) {
                const std::size_t old = cut.z.size() - cut.keep;
                std::copy(cut.z.begin() + static_cast<std::ptrdiff_t>(old), cut.z.end(),
                          cut.z.begin());
                cut.z.resize(cut.keep);
                cut.first += static_cast<std::int64_t>(old);
            }
            const FrameIndex middle{next * step};
            const auto samples = sound.between(channel_, middle + -half, middle + (half + 1));
            cut.z.push_back(cut.filter.at(samples.data(), static_cast<double>(middle.value)));
        }
    }
}

void PairStream::window(FrameIndex from, FrameIndex to, std::span<const HiddenSpan> hidden,
                        std::vector<PairBand>& bands) const {
    bands.resize(cuts_.size());
    const double middle = 0.5 * static_cast<double>(from.value + to.value);
    for (std::size_t b = 0; b < cuts_.size(); ++b) {
        const Cut& cut = cuts_[b];
        PairBand& band = bands[b];
        const auto step = static_cast<std::int64_t>(cut.filter.step);
        const auto half = static_cast<std::int64_t>(cut.filter.half);
        const auto size = static_cast<std::int64_t>(cut.z.size());
        const std::int64_t first =
            std::clamp(ceil_divide(from.value + half, step) - cut.first, std::int64_t{0}, size);
        const std::int64_t last =
            std::clamp((to.value - half - 1) / step + 1 - cut.first, first, size);
        band.line = cut.line.line;
        band.rate = cut.filter.rate;
        band.whiteness = cut.filter.whiteness;
        band.floor = cut.line.floor / static_cast<double>(cut.filter.step);
        band.first_s = (static_cast<double>((cut.first + first) * step) - middle) / rate_.value();
        band.z.assign(cut.z.begin() + first, cut.z.begin() + last);
        band.heard.clear();
        if (hidden.empty()) continue;
        band.heard.assign(band.z.size(), 1.0);
        // A filter's skirts hardly hear: half of each side counts.
        for (std::int64_t m = first; m < last; ++m)
            for (const HiddenSpan& h : hidden) {
                const std::int64_t at = (cut.first + m) * step;
                if (at + half / 2 > h.from.value && at - half / 2 < h.to.value)
                    band.heard[static_cast<std::size_t>(m - first)] = 0.0;
            }
    }
}

std::optional<double> PairStream::power(std::size_t b, FrameIndex from, FrameIndex to) const {
    const Cut& cut = cuts_[b];
    const auto step = static_cast<std::int64_t>(cut.filter.step);
    const auto size = static_cast<std::int64_t>(cut.z.size());
    const std::int64_t first = std::max(ceil_divide(from.value, step) - cut.first, std::int64_t{0});
    const std::int64_t last = std::min(to.value / step + 1 - cut.first, size);
    if (first >= last) return std::nullopt;
    double sum = 0.0;
    for (std::int64_t m = first; m < last; ++m)
        sum += std::norm(cut.z[static_cast<std::size_t>(m)]);
    return sum / static_cast<double>(last - first);
}

bool PairStream::newest(std::size_t b, std::complex<double>& z, FrameIndex& at) const {
    const Cut& cut = cuts_[b];
    if (cut.z.empty()) return false;
    z = cut.z.back();
    at = {(cut.first + static_cast<std::int64_t>(cut.z.size()) - 1) *
          static_cast<std::int64_t>(cut.filter.step)};
    return true;
}

}  // namespace rankwright::listening

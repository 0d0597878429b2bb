// Takes out of each partial's sum over one hop what the other partials leak into it.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// A hop holds whole periods only nearly, and the tone stands a little beside the bank's pitch: a
/// loud partial then shows in its neighbours' sums, where it turns at its own pace and would pass
/// for a clean partial of another pitch. Allocates at construction only.
class HopLeaks {
  public:
    explicit HopLeaks(int most_partials);

    /// The bank's pitch in cycles a frame, its partials, and the frames of a hop.
    void tune(double cycles_per_frame, int partials, std::size_t frames);

    /// Takes the leaks out of the sums of the partials 0 to partials() of one hop whose middle is
    /// frame `middle` of the stream; `offset` is what the tone stands above the bank's pitch, in
    /// cycles a frame. What is left of them is about 100 dB under the tone.
    void remove(std::span<std::complex<double>> sums, double middle, double offset);

  private:
    double most_leaked(int m, double offset) const;
    void add_leaks(int m, double offset);

    double cycles_per_frame_ = 0.0;
    int partials_ = 0;
    double frames_ = 1.0;
    // Of the distance's half turn over the hop, by the sine of that in a frame: [distance]
    std::vector<float> sine_, cosine_;
    std::vector<float> slope_;  // cosine by sine of its half turn in a frame
    double most_sine_ = 0.0, most_cosine_ = 0.0;
    std::vector<float> turn_re_, turn_im_;  // of each distance up to the hop's middle
    std::vector<float> leak_re_, leak_im_;  // into each partial
    std::vector<std::complex<double>> clean_;
};

}  // namespace rankwright::listening

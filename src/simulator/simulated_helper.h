// The helper at the console: holds the keys called, one or two at a time, and moves when called.
#pragma once

#include "core/units.h"
#include "simulator/chamber.h"
#include "simulator/random.h"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::simulator {

/// A pair of hands at the keys. Time comes from the caller and never runs backwards; what is told
/// the helper takes effect with `advance`. All on the chamber's thread.
class SimulatedHelper {
  public:
    struct Parameters {
        std::uint64_t seed = 1;
        Seconds reaction{0.5};  ///< from the call to lifting the key, give or take a third
        double mistakes = 0.0;  ///< share of calls at which the key beside is taken, and put right
    };
    struct Key {
        std::string division;
        int key = 1;
        friend bool operator==(const Key&, const Key&) = default;
    };

    explicit SimulatedHelper(const Parameters& parameters);

    void draw(std::string_view division, std::string_view stop, bool on);
    /// From now on this stop stays off at each press until the keys have been down for `alone`, so
    /// that the reference is heard first; with 0 it is drawn like any other, and stays.
    void hold_back(std::string_view division, std::string_view stop, Seconds alone);
    /// "Next": the key to hold from now on; a call not yet followed is forgotten.
    void call(std::string_view division, int key);
    /// Two keys at once (octaves, bearings), on one manual or two.
    void call(const Key& one, const Key& other);
    /// Plays these keys one after the other, holding each about so long, then takes the hands off.
    void play(std::vector<Key> keys, Seconds hold);
    /// Hands off the keys.
    void rest();
    /// Does what is due at `now`. Often: some fifty times a second feels human.
    void advance(Chamber& chamber, Seconds now);

    /// The key that is down; of two the first called.
    std::optional<Key> holds() const;
    /// All keys that are down.
    const std::vector<Key>& keys_down() const { return held_; }

  private:
    struct Draw {
        std::string division;
        std::string stop;
        bool on;
    };

    /// A stop that waits until the reference has been heard alone.
    struct HeldBack {
        std::string division;
        std::string stop;
        Seconds alone;
        std::optional<Seconds> drawn_at;
    };

    void turn_to(std::vector<Key> keys);
    void set_stops(Chamber& chamber, Seconds now);
    void lift(Chamber& chamber);
    void press(Chamber& chamber, Seconds now);
    void play_on(Seconds now);
    Seconds give_or_take(Seconds about);

    Parameters parameters_;
    Random random_;
    Seconds now_{0.0};
    std::vector<Draw> to_draw_;
    std::vector<HeldBack> held_back_;
    std::vector<Key> held_;
    std::vector<Key> called_;
    std::optional<Seconds> lifts_at_;
    std::optional<Seconds> presses_at_;
    std::optional<Seconds> notices_at_;  ///< that the wrong key is down
    bool corrects_ = false;              ///< the next press puts a mistake right
    std::vector<Key> to_play_;           ///< after the key that is down, the last one first
    Seconds holds_for_{0.0};             ///< each of those
};

}  // namespace rankwright::simulator

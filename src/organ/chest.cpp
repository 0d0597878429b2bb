#include "organ/chest.h"

#include <algorithm>

namespace rankwright::organ {

namespace {

// The keys whose pitch class modulo `groups` is `group`, ascending.
std::vector<int> group_of(int first_key, int last_key, int lowest_midi, int groups, int group) {
    std::vector<int> keys;
    for (int key = first_key; key <= last_key; ++key)
        if ((lowest_midi + key - 1) % groups == group) keys.push_back(key);
    return keys;
}

void append(std::vector<int>& to, const std::vector<int>& keys) {
    to.insert(to.end(), keys.begin(), keys.end());
}

}  // namespace

StandingOrder standing_order(ChestArrangement chest, int first_key, int last_key, int lowest_midi) {
    StandingOrder order;
    const int groups = chest == ChestArrangement::chromatic ? 1
                       : chest == ChestArrangement::thirds  ? 4
                                                            : 2;
    for (int group = 0; group < groups; ++group) {
        std::vector<int> keys = group_of(first_key, last_key, lowest_midi, groups, group);
        const bool left = group == 0;
        if (chest == ChestArrangement::sides_tall_out && !left)
            std::reverse(keys.begin(), keys.end());
        if (chest == ChestArrangement::sides_tall_in && left)
            std::reverse(keys.begin(), keys.end());
        if (groups == 2 && !left && !keys.empty()) order.other_side = order.keys.size();
        append(order.keys, keys);
    }
    return order;
}

}  // namespace rankwright::organ

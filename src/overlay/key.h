// A key press as the overlay takes it, whatever window system it came from.
#pragma once

namespace rankwright::overlay {

enum class Key {
    page_down,
    page_up,
    left,
    right,
    up,
    down,
    enter,
    escape,
    erase,
    tab,
    character,  ///< a letter, digit, space, point or minus: KeyPress::character
    text,       ///< what the keyboard's layout makes of presses, for typed words: KeyPress::text
};

struct KeyPress {
    Key key = Key::character;
    char character = 0;  ///< lower case; 0 for the named keys
    bool shift = false;
    bool repeat = false;  ///< held down: comes again by itself
    char32_t text = 0;    ///< a code point of Unicode; comes after the press that made it
};

}  // namespace rankwright::overlay

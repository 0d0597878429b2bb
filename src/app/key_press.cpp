#include "app/key_press.h"

#define GLFW_INCLUDE_NONE
#include <cctype>

#include <GLFW/glfw3.h>

namespace rankwright::app {

namespace {

using overlay::Key;

std::optional<Key> named_key(int key) {
    switch (key) {
        case GLFW_KEY_PAGE_DOWN:
            return Key::page_down;
        case GLFW_KEY_PAGE_UP:
            return Key::page_up;
        case GLFW_KEY_LEFT:
            return Key::left;
        case GLFW_KEY_RIGHT:
            return Key::right;
        case GLFW_KEY_UP:
            return Key::up;
        case GLFW_KEY_DOWN:
            return Key::down;
        case GLFW_KEY_ENTER:
        case GLFW_KEY_KP_ENTER:
            return Key::enter;
        case GLFW_KEY_ESCAPE:
            return Key::escape;
        case GLFW_KEY_BACKSPACE:
            return Key::erase;
        case GLFW_KEY_TAB:
            return Key::tab;
        default:
            return std::nullopt;
    }
}

char character(int key, int scancode) {
    if (key == GLFW_KEY_SPACE) return ' ';
    // Digits share their keys with signs on some layouts, where the sign comes unshifted.
    if (key >= GLFW_KEY_0 && key <= GLFW_KEY_9) return static_cast<char>('0' + key - GLFW_KEY_0);
    if (key >= GLFW_KEY_KP_0 && key <= GLFW_KEY_KP_9)
        return static_cast<char>('0' + key - GLFW_KEY_KP_0);
    if (key == GLFW_KEY_KP_DECIMAL) return '.';
    if (key == GLFW_KEY_KP_SUBTRACT) return '-';
    const char* name = glfwGetKeyName(key, scancode);
    if (name == nullptr || name[0] == '\0' || name[1] != '\0') return 0;
    return static_cast<char>(std::tolower(static_cast<unsigned char>(name[0])));
}

}  // namespace

std::optional<overlay::KeyPress> key_press(int key, int scancode, int action, int mods) {
    if (action == GLFW_RELEASE) return std::nullopt;
    overlay::KeyPress press;
    press.shift = (mods & GLFW_MOD_SHIFT) != 0;
    press.repeat = action == GLFW_REPEAT;
    if (const auto named = named_key(key)) {
        press.key = *named;
        return press;
    }
    press.character = character(key, scancode);
    if (press.character == 0) return std::nullopt;
    return press;
}

}  // namespace rankwright::app

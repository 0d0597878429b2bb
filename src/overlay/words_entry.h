// Typing words: a complaint of the client.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"

#include <string>

namespace rankwright::overlay {

class WordsEntry {
  public:
    explicit WordsEntry(std::string title) : title_(std::move(title)) {}

    enum class Outcome { typing, done, left };
    /// Letters come as Key::text, so that any keyboard's letters can be typed.
    Outcome press(const KeyPress& key);
    void draw(Canvas& canvas, const Rect& place) const;
    /// UTF-8; what was typed so far.
    const std::string& words() const { return words_; }

  private:
    std::string title_;
    std::string words_;
    bool opened_ = false;  ///< the letter that belongs to the opening press has passed
};

}  // namespace rankwright::overlay

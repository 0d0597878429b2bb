// Typing words: a complaint of the client, the name of a file.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"

#include <string>
#include <utility>

namespace rankwright::overlay {

class WordsEntry {
  public:
    explicit WordsEntry(std::string title, std::string advice = "Enter: note it · Esc: leave it")
        : title_(std::move(title)), advice_(std::move(advice)) {}

    enum class Outcome { typing, done, left };
    /// Letters come as Key::text, so that any keyboard's letters can be typed.
    Outcome press(const KeyPress& key);
    void draw(Canvas& canvas, const Rect& place) const;
    /// UTF-8; what was typed so far.
    const std::string& words() const { return words_; }

  private:
    std::string title_;
    std::string advice_;
    std::string words_;
    bool opened_ = false;  ///< the letter that belongs to the opening press has passed
};

}  // namespace rankwright::overlay

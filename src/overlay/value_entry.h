// Typing a value: the temperature, the pitch of the day, a key's number.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"
#include "visit/command.h"

#include <optional>
#include <string>

namespace rankwright::overlay {

class ValueEntry {
  public:
    enum class What { temperature, pitch, key };
    /// `last_key`: the highest key number that may be typed.
    ValueEntry(What what, int last_key) : what_(what), last_key_(last_key) {}

    /// What the press did. `done` with a command: carry it out and close; without one: closed.
    struct Outcome {
        bool done = false;
        std::optional<visit::Command> command;
    };
    Outcome press(const KeyPress& key);
    void draw(Canvas& canvas, const Rect& place) const;

    const std::string& typed() const { return typed_; }
    const std::string& complaint() const { return complaint_; }

  private:
    void type(char letter);
    Outcome finish();

    What what_;
    int last_key_;
    std::string typed_;
    bool fahrenheit_ = false;
    std::string complaint_;  ///< why the value typed can't be taken
};

}  // namespace rankwright::overlay

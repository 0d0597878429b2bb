#include "overlay/value_entry.h"

#include "overlay/panels.h"
#include "overlay/plate.h"

#include <algorithm>
#include <cctype>
#include <charconv>

namespace rankwright::overlay {

namespace {

// Where people work and organs stand; beyond it a key was mistyped.
constexpr double kColdest = -10.0;
constexpr double kHottest = 50.0;
constexpr double kLowestA = 370.0;
constexpr double kHighestA = 570.0;
constexpr std::size_t kMostLetters = 9;  // "-10.5 100"

const char* title(ValueEntry::What what) {
    switch (what) {
        case ValueEntry::What::temperature:
            return "temperature at the pipes";
        case ValueEntry::What::pitch:
            return "pitch of the day: A";
        case ValueEntry::What::key:
            return "go to key number";
    }
    return "";
}

const char* advice(ValueEntry::What what) {
    switch (what) {
        case ValueEntry::What::temperature:
            return "F or C: which degrees · after a space: humidity in % · Enter · Esc: as it was";
        case ValueEntry::What::pitch:
            return "0: as measured · Enter: take it · Esc: leave it as it was";
        case ValueEntry::What::key:
            return "1 is the lowest key · Enter: go · Esc: stay here";
    }
    return "";
}

std::optional<double> number_of(std::string_view text) {
    double value = 0.0;
    const char* end = text.data() + text.size();
    const auto [stopped, error] = std::from_chars(text.data(), end, value);
    if (text.empty() || error != std::errc{} || stopped != end) return std::nullopt;
    return value;
}

}  // namespace

void ValueEntry::type(char letter) {
    complaint_.clear();
    if (letter == ',') letter = '.';
    const bool digit = std::isdigit(static_cast<unsigned char>(letter)) != 0;
    const bool point = letter == '.' && what_ != What::key && typed_.find('.') == std::string::npos;
    const bool space = letter == ' ' && what_ == What::temperature && !typed_.empty() &&
                       typed_.find(' ') == std::string::npos;
    const bool minus = letter == '-' && what_ == What::temperature && typed_.empty();
    if ((digit || point || minus || space) && typed_.size() < kMostLetters) typed_ += letter;
    if (what_ == What::temperature && letter == 'f') fahrenheit_ = true;
    if (what_ == What::temperature && letter == 'c') fahrenheit_ = false;
}

ValueEntry::Outcome ValueEntry::press(const KeyPress& key) {
    switch (key.key) {
        case Key::escape:
            return {true, std::nullopt};
        case Key::enter:
            return finish();
        case Key::erase:
            if (!typed_.empty()) typed_.pop_back();
            complaint_.clear();
            break;
        case Key::character:
            type(key.character);
            break;
        default:
            break;
    }
    return {};
}

ValueEntry::Outcome ValueEntry::finish() {
    const std::string_view typed = typed_;
    const std::size_t space = std::min(typed.find(' '), typed.size());
    const auto number = number_of(typed.substr(0, space));
    if (!number) {
        complaint_ = "Type a number first.";
        return {};
    }
    const double value = *number;
    switch (what_) {
        case What::temperature: {
            const double celsius = fahrenheit_ ? (value - 32.0) / 1.8 : value;
            if (celsius < kColdest || celsius > kHottest) {
                complaint_ =
                    fahrenheit_ ? "Between 14 and 122 °F." : "Between −10 and 50 °C; F for °F.";
                return {};
            }
            visit::SetTemperature set{Celsius{celsius}};
            if (space < typed.size()) {
                const auto percent = number_of(typed.substr(space + 1));
                if (!percent || *percent > 100.0) {
                    complaint_ = "After the space the humidity, 0 to 100 %.";
                    return {};
                }
                set.humidity = *percent / 100.0;
            }
            return {true, set};
        }
        case What::pitch:
            if (value != 0.0 && (value < kLowestA || value > kHighestA)) {
                complaint_ = "Between 370 and 570 Hz, or 0 for the measured one.";
                return {};
            }
            return {true, visit::SetPitch{Hertz{value}}};
        case What::key:
            if (value < 1.0 || value > last_key_) {
                complaint_ = "Keys go from 1 to " + std::to_string(last_key_) + ".";
                return {};
            }
            return {true, visit::GoToKey{static_cast<int>(value)}};
    }
    return {};
}

void ValueEntry::draw(Canvas& canvas, const Rect& place) const {
    constexpr float kWide = 860.0F;
    constexpr float kHigh = 380.0F;
    const Rect plate = draw_plate(canvas, place, kWide, kHigh);
    const float left = plate.left + 40;
    canvas.text({left, plate.top + 66}, {kLarge, kGrey}, title(what_));
    const float baseline = plate.top + 226;
    const float wide = canvas.text({left, baseline}, {130, kPale, true}, typed_);
    canvas.fill({left + wide + 8, baseline - 100, left + wide + 14, baseline + 8}, kPale);
    const char* unit = what_ == What::temperature ? (fahrenheit_ ? "°F" : "°C")
                       : what_ == What::pitch     ? "Hz"
                                                  : "";
    canvas.text({plate.right - 40, baseline}, {kLadder, kPale, false, Align::right}, unit);
    if (!complaint_.empty()) {
        draw_caution_mark(canvas, {left + 14, plate.top + 282}, 28);
        canvas.text({left + 42, plate.top + 292}, {kBody, kPale}, complaint_);
    }
    canvas.text({left, plate.bottom - 34}, {24, kGrey}, advice(what_));
}

}  // namespace rankwright::overlay

#include "app/number_checks.h"

#include <cmath>
#include <cstdlib>
#include <functional>
#include <sstream>
#include <string>

namespace rankwright::app {

namespace {

// What is no number at all is left to CLI11, which knows which kind is wanted.
CLI::Validator number_that(const std::string& wanted, const std::function<bool(double)>& fits) {
    const auto check = [wanted, fits](std::string& text) {
        char* end = nullptr;
        const double value = std::strtod(text.c_str(), &end);
        const bool is_number = end != text.c_str() && *end == '\0';
        return !is_number || fits(value) ? std::string() : wanted + ", not " + text;
    };
    return CLI::Validator(check, "");
}

}  // namespace

CLI::Validator within(double low, double high) {
    std::ostringstream wanted;
    wanted << "must be between " << low << " and " << high;
    return number_that(wanted.str(), [=](double x) { return x >= low && x <= high; });
}

CLI::Validator above_zero() {
    return number_that("must be more than 0", [](double x) { return x > 0.0 && std::isfinite(x); });
}

CLI::Validator not_negative() {
    return number_that("must be 0 or more", [](double x) { return x >= 0.0 && std::isfinite(x); });
}

}  // namespace rankwright::app

// What a number on the command line may be, said in words when it isn't.
#pragma once

#include <CLI/CLI.hpp>

namespace rankwright::app {

/// Both ends included. "nan" lies nowhere.
CLI::Validator within(double low, double high);

/// More than nothing, and finite.
CLI::Validator above_zero();

/// Nothing or more, and finite.
CLI::Validator not_negative();

}  // namespace rankwright::app

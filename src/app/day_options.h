// What the command line is told of today's air and pitch.
#pragma once

#include "core/result.h"
#include "organ/instrument.h"
#include "organ/target.h"

#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

namespace rankwright::app {

struct DayOptions {
    std::string temperature;
    std::optional<double> humidity;   ///< per cent
    std::vector<std::string> places;  ///< "Swell=21.3C"
    std::optional<double> pitch;

    /// --temperature, --humidity, --place and --pitch. The object must outlive the parsing.
    void add_to(CLI::App& command);
    /// Fails on what is no temperature, an unknown division, and air without the temperature beside
    /// the reference.
    Result<organ::Day> day_at(const organ::Instrument& instrument) const;
};

}  // namespace rankwright::app

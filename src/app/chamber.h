// The window at work: a session, what it shows, and who acts on it.
#pragma once

#include "app/report.h"
#include "app/window.h"
#include "organ/instrument.h"
#include "organ/target.h"
#include "visit/run.h"

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::app {

struct ChamberOptions {
    std::string organ_file;     ///< kept as the last visit; empty = not kept
    std::string input = "mic";  ///< "mic", "simulated" or a recording's path
    std::string device;         ///< of the microphone; empty = the default
    std::optional<int> channel;
    std::string stop;
    std::vector<std::string> stops;  ///< to go through one after the other; "all" = every stop
    visit::RunOptions run{visit::Job::from_reference, false};
    organ::Day day;
    std::string book;        ///< the tuning book's file; empty: the usual one for real pipes
    bool new_visit = false;  ///< begin one, even if the last one isn't over
    std::uint64_t seed = 1;
    bool simulated_technician = false;
    std::optional<Seconds> lasting;
    std::string screenshot;
    bool print = false;
    bool json = false;
};

/// The stop of that name; of an empty name, that of the bearings, or else the first with pipes.
Result<organ::StopRef> choose_stop(const organ::Instrument& instrument, const std::string& name);

/// The ids of `names`, as find_stop takes them; of "all", those of every stop that isn't a mixture.
Result<std::vector<StopId>> stops_to_work_at(const organ::Instrument& instrument,
                                             const std::vector<std::string>& names);

/// Works until the window is closed; opens one when none is given.
ExitCode work_at(const organ::Instrument& instrument, const organ::StopRef& stop,
                 const ChamberOptions& options, std::unique_ptr<Window> window = nullptr);

}  // namespace rankwright::app

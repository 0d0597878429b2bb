// A visit to an invented organ from survey to last pipe: the work as the program does it, faster
// than time, with a simulated helper and a technician who knows only the screen. What nobody at
// work may know is told at the end: the truth of each pipe, and which planted faults were found.
#pragma once

#include "app/simulated_chamber.h"
#include "app/technician.h"
#include "app/work.h"
#include "organ/instrument.h"

#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <vector>

namespace rankwright::app {

/// Something wrong that the visit should find.
struct Planted {
    std::string what;  ///< "dead", "tremulant", … as WholeVisit plants it
    PipeId pipe;       ///< empty where it concerns a stop
    bool found = false;
    std::string said{};  ///< by what it was found
};

/// What the work at one pipe took.
struct PipeStory {
    organ::Pipe pipe;
    Seconds in_hand{0.0};
    int turns = 0, moves = 0;
    bool done = false;  ///< the screen says so, and the book has it
    bool out_of_reach = false, dead = false;
    Cents found{0.0};  ///< as the book has it
    /// What the book has as *found* from the pipe's pitch before anybody touched it; nought where
    /// nothing was found.
    Cents found_beside{0.0};
    Hertz untouched;  ///< in truth
    Cents off{0.0};   ///< in truth, from where its reference has it, or its target at today's A
    Cents tolerance{0.5};
    bool right() const;  ///< inside the tolerance, but for wander and a reading (0.6 cent)
};

class WholeVisit {
  public:
    struct Plan {
        std::uint64_t seed = 1;
        std::vector<StopId> stops;  ///< in the order in which they are surveyed
        int every = 1;              ///< of the stops' keys only each so many'th is worked at …
        bool by_beats = true;       ///< from the references that the file names
        bool with_faults = true;
        bool tells = false;  ///< prints what happens
    };
    WholeVisit(const organ::Instrument& instrument, Plan plan);

    /// Plays each stop through, and again where the screen says that nothing was kept of it.
    void survey();
    /// Pipe for pipe along the stops, then what is left by the list. `patience` is for each.
    void tune(Seconds patience);

    const std::vector<Planted>& planted() const { return planted_; }
    /// Faults said of pipes that have none.
    std::vector<std::string> falsely_said() const;
    std::vector<PipeStory> stories();
    Seconds took() const { return took_; }
    Seconds waited() const { return waited_; }

  private:
    void plant();
    using Done = std::function<bool(const overlay::Snapshot&)>;
    void sit(Work& work, Seconds patience, const Done& done);
    void count(const PipeId& pipe, const overlay::Snapshot& screen, Seconds passed);
    void tell_pitch(const visit::Run& run);
    void tell(const visit::BookEntry& entry);
    Cents off_in_truth(const organ::Pipe& pipe, const simulator::Chamber& chamber);
    void look(Work& work, const overlay::Snapshot& screen);
    void find_in_survey(const overlay::Snapshot& screen);
    void find_in_book();
    void set_right(const Planted& one);
    Planted* planted(const std::string& what, const PipeId& pipe = {});
    Work open(visit::RunOptions options, const StopId& first);
    bool in_play(const PipeId& pipe) const { return stories_.count(pipe) != 0; }
    void order(std::function<void(simulator::Chamber&)> what);

    const organ::Instrument& instrument_;
    Plan plan_;
    SimulatedChamber chamber_;
    std::vector<visit::BookEntry> entries_;
    ScreenReader technician_;
    std::vector<Planted> planted_;
    std::map<PipeId, PipeStory> stories_;
    std::vector<std::string> said_;  ///< by the survey of whole stops
    std::optional<PipeId> at_;
    bool told_end_ = false;  ///< by the screen: nothing is left
    Seconds took_{0.0}, waited_{0.0};
    Cents pitch_{0.0};  ///< A of today as told last, from home
};

/// How the visit went, a line each; ends with the table.
std::string told(WholeVisit& visit);

}  // namespace rankwright::app

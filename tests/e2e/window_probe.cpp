// Opens the window on one example and writes every command it asks for to stdout, a line each.
#include "app/window.h"
#include "overlay/examples.h"

#include <algorithm>
#include <iostream>
#include <string>
#include <variant>
#include <vector>

namespace {

using namespace rankwright;

struct Words {
    std::string operator()(const visit::GoNext&) const { return "next"; }
    std::string operator()(const visit::GoBack&) const { return "back"; }
    std::string operator()(const visit::GoToKey& to) const {
        return "key " + std::to_string(to.key);
    }
    std::string operator()(const visit::MoveDevice& move) const {
        return move.by.value() > 0 ? "up" : "down";
    }
    std::string operator()(const visit::SetTemperature& temperature) const {
        return "temperature " + std::to_string(temperature.to.value());
    }
    std::string operator()(const visit::SetPitch& pitch) const {
        return "pitch " + std::to_string(pitch.to.value());
    }
    std::string operator()(const visit::TakePitchOfDay&) const { return "take pitch"; }
    std::string operator()(const visit::TakeStop& take) const { return "stop " + take.stop.stop; }
    std::string operator()(const visit::HearAlone&) const { return "hear alone"; }
    std::string operator()(const visit::HearWhole&) const { return "hear whole"; }
    std::string operator()(const visit::MoveMutes&) const { return "move mutes"; }
    std::string operator()(const visit::MarkOutOfReach&) const { return "out of reach"; }
    std::string operator()(const visit::NoteFault& noted) const { return "fault " + noted.fault; }
    std::string operator()(const visit::GoToPipe& go) const {
        return "go to " + to_string(go.pipe);
    }
    std::string operator()(const visit::Note&) const { return "note"; }
    std::string operator()(const visit::WritePage&) const { return "write page"; }
    std::string operator()(const visit::CareForBook& care) const { return "book " + care.file; }
    std::string operator()(const visit::Undo&) const { return "undo"; }
    std::string operator()(const visit::EndVisit&) const { return "end visit"; }
    std::string operator()(const visit::Quit&) const { return "quit"; }
};

bool show(app::Window& window, overlay::Snapshot snapshot) {
    snapshot.simulated = true;
    for (bool open = true; open;) {
        std::vector<visit::Command> commands;
        open = window.frame(snapshot, commands);
        for (const visit::Command& command : commands) {
            std::cout << std::visit(Words{}, command) << std::endl;
            if (std::holds_alternative<visit::Quit>(command)) return true;
        }
    }
    return true;
}

int choose(app::Window& window) {
    const overlay::Choices choices{
        {{"Saint Ebba, Harrow Fold", "ebba.toml"}, {"Chapel of the Fells", "fells.toml"}},
        {{"built-in microphone", "two channels, 48 kHz"},
         {"simulated chamber", "pipes to practise on"}},
        "Saint Ebba, Great Principal 8′: 12 of 61 settled",
        "",
        {}};
    const auto choice = window.choose(choices);
    if (!choice) {
        std::cout << "left" << std::endl;
        return 0;
    }
    std::cout << (choice->go_on ? "go on"
                                : "instrument " + std::to_string(choice->instrument) + " input " +
                                      std::to_string(choice->input))
              << std::endl;
    return 0;
}

}  // namespace

// window_probe EXAMPLE [PICTURE.png]: `chooser` shows the first question instead.
int main(int argc, char** argv) {
    const std::string name = argc > 1 ? argv[1] : "sharp-open";
    const auto window = app::Window::open({});
    if (!window) {
        std::cerr << window.error().message << '\n';
        return 2;
    }
    if (name == "chooser") return choose(**window);
    const auto all = overlay::examples::all();
    const auto example =
        std::find_if(all.begin(), all.end(), [&](const auto& one) { return one.name == name; });
    if (example == all.end()) return 2;
    if (!show(**window, example->snapshot)) return 1;
    if (argc < 3) return 0;
    const auto saved = (*window)->screenshot(argv[2]);
    if (!saved) std::cerr << saved.error().message << '\n';
    return saved ? 0 : 1;
}

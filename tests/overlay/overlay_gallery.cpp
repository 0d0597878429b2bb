// Renders the examples to PNG files, for judging the picture by eye. Needs a display.
#include "app/window.h"
#include "overlay/examples.h"

#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <string>

int main(int argc, char** argv) {
    using namespace rankwright;
    if (argc < 2) {
        std::cerr << "usage: overlay_gallery FOLDER [WIDTH HEIGHT]\n";
        return 2;
    }
    const std::filesystem::path folder = argv[1];
    std::filesystem::create_directories(folder);
    app::Window::Options options;
    if (argc > 3) {
        options.width = std::atoi(argv[2]);
        options.height = std::atoi(argv[3]);
    }
    const auto window = app::Window::open(options);
    if (!window) {
        std::cerr << window.error().message << '\n';
        return 1;
    }
    for (const auto& example : overlay::examples::all()) {
        std::vector<visit::Command> commands;
        (*window)->frame(example.snapshot, commands);
        const auto saved = (*window)->screenshot(folder / (example.name + ".png"));
        if (!saved) {
            std::cerr << saved.error().message << '\n';
            return 1;
        }
    }
    return 0;
}

#include "app/last_visit.h"

#include "app/json_output.h"

#include <cstdlib>
#include <fstream>
#include <system_error>

namespace rankwright::app {

std::filesystem::path last_visit_file() {
    const char* state = std::getenv("XDG_STATE_HOME");
    const char* home = std::getenv("HOME");
    const std::filesystem::path folder =
        state != nullptr && *state != '\0'
            ? std::filesystem::path(state)
            : std::filesystem::path(home != nullptr ? home : ".") / ".local/state";
    return folder / "rankwright/last-visit.json";
}

std::optional<LastVisit> load_last_visit() {
    std::ifstream in(last_visit_file());
    const Json json = Json::parse(in, nullptr, false);
    if (!json.is_object()) return std::nullopt;
    const auto text = [&](const char* key) {
        const auto found = json.find(key);
        return found != json.end() && found->is_string() ? found->get<std::string>()
                                                         : std::string{};
    };
    LastVisit visit{text("organ_file"), text("organ"), text("stop"),
                    text("stop_words"), text("input"), text("device")};
    std::error_code ignored;
    if (visit.input.empty() || !std::filesystem::exists(visit.organ_file, ignored))
        return std::nullopt;
    return visit;
}

void save_last_visit(const LastVisit& visit) {
    const std::filesystem::path file = last_visit_file();
    std::error_code ignored;
    std::filesystem::create_directories(file.parent_path(), ignored);
    const Json json{
        {"organ_file", visit.organ_file}, {"organ", visit.organ}, {"stop", visit.stop},
        {"stop_words", visit.stop_words}, {"input", visit.input}, {"device", visit.device}};
    std::ofstream(file) << json.dump(2) << "\n";
}

}  // namespace rankwright::app

// `rankwright new`: a commented starter file from a few answers.
#include "app/commands.h"
#include "organ/air.h"
#include "organ/temperament.h"
#include "storage/starter_file.h"

#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <memory>
#include <sstream>

namespace rankwright::app {

namespace {

/// Asks on stderr, so that stdout stays for results; an empty answer, or the end of the input,
/// keeps `usual`.
std::string ask(const std::string& question, const std::string& usual) {
    std::cerr << question << " [" << usual << "] " << std::flush;
    std::string answer;
    if (!std::getline(std::cin, answer)) {
        std::cerr << "\n";
        return usual;
    }
    const auto first = answer.find_first_not_of(" \t\r");
    if (first == std::string::npos) return usual;
    return answer.substr(first, answer.find_last_not_of(" \t\r") - first + 1);
}

std::vector<std::string> split(const std::string& list) {
    std::vector<std::string> parts;
    std::istringstream in(list);
    for (std::string part; std::getline(in, part, ',');) {
        const auto first = part.find_first_not_of(' ');
        if (first == std::string::npos) continue;
        parts.push_back(part.substr(first, part.find_last_not_of(' ') - first + 1));
    }
    return parts;
}

std::string join(const std::vector<std::string>& parts) {
    std::string list;
    for (const std::string& part : parts)
        list += (list.empty() ? "" : ", ") + part;
    return list;
}

/// Asks until the answer makes sense; at the end of the input the usual one does. `known` is said
/// when it doesn't: how to write it.
template <typename Parse>
auto ask_for(const std::string& question, const std::string& usual, Parse parse,
             const std::string& known = "") {
    for (;;) {
        if (const auto value = parse(ask(question, usual))) return *value;
        if (!std::cin) return *parse(usual);
        if (known.empty())
            std::cerr << "That can't be read; write it like " << usual << ".\n";
        else
            std::cerr << "That isn't known here; known are " << known << ".\n";
    }
}

std::optional<double> number(const std::string& text, double least, double most) {
    char* end = nullptr;
    const double value = std::strtod(text.c_str(), &end);
    if (end == text.c_str() || *end != '\0' || !(value >= least && value <= most))
        return std::nullopt;
    return value;
}

storage::StarterAnswers ask_all() {
    storage::StarterAnswers answers;
    const auto usual = answers.divisions;
    answers.name = ask("The organ's name?", answers.name);
    answers.place = ask("Where does it stand?", "not said");
    if (answers.place == "not said") answers.place.clear();
    answers.a = Hertz{ask_for("The A at which it stands, in Hz?", "440", [](std::string text) {
        if (const auto unit = text.find(" Hz"); unit != std::string::npos) text.resize(unit);
        return number(text, 300.0, 600.0);
    })};
    answers.at = ask_for("At which temperature?", "18C",
                         [](const std::string& text) { return organ::parse_temperature(text); });
    std::vector<std::string> temperaments;
    for (const organ::BuiltInTemperament& one : organ::built_in_temperaments())
        temperaments.push_back(one.name);
    answers.temperament = ask_for(
        "The temperament?", answers.temperament,
        [](const std::string& text) {
            const auto known = organ::built_in_temperament(text);
            return known ? std::optional{known->name} : std::nullopt;
        },
        join(temperaments) + "; one of your own goes into the file later");
    answers.divisions.clear();
    for (const std::string& name :
         split(ask("Its divisions, with commas between?", "Great, Pedal"))) {
        storage::StarterDivision division;
        division.name = name;
        const bool pedal = name.find("edal") != std::string::npos;
        const auto& example = usual[pedal ? usual.size() - 1 : 0];
        division.keys = static_cast<int>(
            ask_for("How many keys has the " + name + "?", std::to_string(example.keys),
                    [](const std::string& text) { return number(text, 1.0, 97.0); }));
        division.stops =
            split(ask("The stops of the " + name + ", with commas between?", join(example.stops)));
        answers.divisions.push_back(std::move(division));
    }
    return answers;
}

ExitCode write_starter(const std::string& path) {
    std::error_code ignored;
    if (std::filesystem::exists(path, ignored))
        return report({ErrorKind::bad_input,
                       "is there already, and nothing is overwritten: choose another name",
                       Place{path}});
    // Nobody answers ten questions for nothing.
    const std::filesystem::path folder = std::filesystem::absolute(path, ignored).parent_path();
    if (!std::filesystem::is_directory(folder, ignored))
        return report({ErrorKind::bad_input,
                       "can't be written: there is no folder " + folder.string() +
                           "; make it, or name another",
                       Place{path}});
    if (const auto error = storage::write_starter_file(path, ask_all())) return report(*error);
    std::cout << path << " is written. Look through it, then `rankwright check " << path << "`.\n";
    return kDone;
}

}  // namespace

void add_new_command(CLI::App& app, ExitCode& code) {
    auto path = std::make_shared<std::string>();
    CLI::App* command =
        app.add_subcommand("new", "Write a commented instrument file from a few answers");
    command->add_option("FILE", *path, "where to write it")->required();
    command->callback([path, &code] { code = write_starter(*path); });
}

}  // namespace rankwright::app

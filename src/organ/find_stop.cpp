#include "core/nearest_word.h"
#include "organ/instrument.h"

#include <algorithm>
#include <cctype>

namespace rankwright::organ {

namespace {

// "Principal 8′", "principal 8'" and "PRINCIPAL 8" are one word here.
std::string plain(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const std::string_view rest = text.substr(i);
        if (rest.starts_with("′") || rest.starts_with("’")) {
            i += std::string_view("′").size() - 1;
        } else if (text[i] != '\'') {
            out += static_cast<char>(std::tolower(static_cast<unsigned char>(text[i])));
        }
    }
    while (out.ends_with(' '))
        out.pop_back();
    return out;
}

bool called(std::string_view plain_name, const std::string& id, const std::string& name) {
    return plain_name == id || plain_name == plain(name);
}

std::vector<StopRef> matching(const Instrument& instrument, std::string_view name) {
    std::vector<StopRef> found;
    const auto add = [&](std::string_view division_name, std::string_view stop_name) {
        for (const Division& division : instrument.divisions) {
            if (!division_name.empty() && !called(division_name, division.id, division.name))
                continue;
            for (const Stop& stop : division.stops)
                if (called(stop_name, stop.id, stop.name))
                    found.push_back({&division, &stop, &instrument});
        }
    };
    const std::string whole = plain(name);
    add({}, whole);  // the slash may also belong to a footage: "Quint 2 2/3"
    for (auto slash = whole.find('/'); found.empty() && slash != std::string::npos;
         slash = whole.find('/', slash + 1))
        if (slash > 0) add(whole.substr(0, slash), whole.substr(slash + 1));
    return found;
}

std::string nearest_stop(const Instrument& instrument, std::string_view name) {
    std::vector<std::string> known, full;
    for (const Division& division : instrument.divisions)
        for (const Stop& stop : division.stops) {
            known.push_back(plain(stop.name));
            full.push_back(division.name + "/" + stop.name);
        }
    const std::size_t alone = known.size();
    for (std::size_t i = 0; i < alone; ++i)
        known.push_back(plain(full[i]));
    const auto nearest = nearest_word(plain(name), known);
    if (!nearest) return {};
    for (std::size_t i = 0; i < known.size(); ++i)
        if (known[i] == *nearest) return full[i % alone];
    return {};
}

std::string stops_listed(const Instrument& instrument) {
    constexpr std::size_t kMost = 12;
    std::vector<std::string> names;
    for (const Division& division : instrument.divisions)
        for (const Stop& stop : division.stops)
            if (!stop.name.empty()) names.push_back(division.name + "/" + stop.name);
    std::string out;
    for (std::size_t i = 0; i < std::min(names.size(), kMost); ++i)
        out += (i == 0 ? " Its stops: " : ", ") + names[i];
    return out + (names.size() > kMost ? " …" : names.empty() ? "" : ".");
}

}  // namespace

Result<StopRef> find_stop(const Instrument& instrument, std::string_view name) {
    const std::vector<StopRef> found = matching(instrument, name);
    if (found.size() == 1) return found.front();
    const std::string asked(name);
    std::string message;
    if (found.empty()) {
        const std::string nearest = nearest_stop(instrument, name);
        message = "There is no stop \"" + asked + "\" in " + instrument.name + ".";
        if (!nearest.empty()) message += " Did you mean \"" + nearest + "\"?";
        if (nearest.empty()) message += stops_listed(instrument);
    } else if (found.front().division == found.back().division) {
        message = "\"" + asked + "\" is the name of several stops of " +
                  found.front().division->name + "; give each its own.";
    } else {
        message = "\"" + asked + "\" stands in several divisions; say which:";
        for (const StopRef& ref : found)
            message += " \"" + ref.division->name + "/" + ref.stop->name + "\"";
    }
    return fail(ErrorKind::not_found, std::move(message));
}

StopRef stop_by_id(const Instrument& instrument, std::string_view division, std::string_view stop) {
    for (const Division& candidate : instrument.divisions) {
        if (candidate.id != division) continue;
        for (const Stop& one : candidate.stops)
            if (one.id == stop) return {&candidate, &one, &instrument};
    }
    return {nullptr, nullptr, &instrument};
}

bool is_of_mixture(const Instrument& instrument, const PipeId& pipe) {
    const StopRef ref = stop_by_id(instrument, pipe.division, pipe.stop);
    return ref.stop != nullptr && ref.stop->mixture();
}

}  // namespace rankwright::organ

#include "storage/table_reader.h"

#include "core/nearest_word.h"

#include <algorithm>
#include <cmath>
#include <sstream>

namespace rankwright::storage {

namespace {

std::string word_in_quotes(std::string_view word) {
    std::string out = "\"";
    out += word;
    out += '"';
    return out;
}

std::string joined(std::span<const std::string> words) {
    std::string out;
    for (std::size_t i = 0; i < words.size(); ++i) {
        if (i > 0) out += i + 1 == words.size() ? " or " : ", ";
        out += word_in_quotes(words[i]);
    }
    return out;
}

std::string number_text(double value) {
    std::ostringstream out;
    out << value;
    return out.str();
}

}  // namespace

void Mistakes::add(const toml::source_position& at, std::string message) {
    notes_.push_back({static_cast<int>(at.line), static_cast<int>(at.column), std::move(message)});
}

std::vector<Error> Mistakes::take() {
    std::stable_sort(notes_.begin(), notes_.end(), [](const Note& a, const Note& b) {
        return std::pair(a.line, a.column) < std::pair(b.line, b.column);
    });
    std::vector<Error> errors;
    for (Note& note : notes_)
        errors.push_back(
            {ErrorKind::bad_input, std::move(note.message), Place{file_, note.line, note.column}});
    notes_.clear();
    return errors;
}

std::string shown(const toml::node& node) {
    if (const auto text = node.value<std::string>(); text && node.is_string()) {
        constexpr std::size_t kMost = 60;
        return word_in_quotes(text->size() > kMost ? text->substr(0, kMost) + "…" : *text);
    }
    if (const auto* whole = node.as_integer()) return std::to_string(whole->get());
    if (const auto* number = node.as_floating_point()) return number_text(number->get());
    if (const auto* flag = node.as_boolean()) return flag->get() ? "true" : "false";
    if (node.is_table()) return "a table";
    if (node.is_array()) return "a list";
    return "a date or time";
}

std::string did_you_mean(std::string_view word, std::span<const std::string> known) {
    const auto nearest = nearest_word(word, known);
    return nearest ? " (did you mean " + word_in_quotes(*nearest) + "?)" : std::string();
}

TableReader::~TableReader() {
    for (const auto& [key, value] : *table_) {
        if (std::find(known_keys_.begin(), known_keys_.end(), key.str()) != known_keys_.end())
            continue;
        std::string message = "unknown key " + word_in_quotes(key.str()) + " in " + what_;
        const std::string nearest = did_you_mean(key.str(), known_keys_);
        message += nearest.empty() ? "; known here: " + joined(known_keys_) : nearest;
        mistakes_->add(key.source(), std::move(message));
    }
}

const toml::node* TableReader::any(std::string_view key) {
    if (std::find(known_keys_.begin(), known_keys_.end(), key) == known_keys_.end())
        known_keys_.emplace_back(key);
    return table_->get(key);
}

const toml::node* TableReader::need(std::string_view key, std::string_view expected) {
    const toml::node* node = any(key);
    if (node == nullptr && !mistakes_->partly_hidden) {
        std::string message = what_ + " has no " + word_in_quotes(key) + "; expected ";
        message += expected;
        mistakes_->add(table_->source(), std::move(message));
    }
    return node;
}

void TableReader::wrong(const toml::node& node, std::string_view key, std::string_view expected) {
    std::string message = text_of({word_in_quotes(key), " is ", shown(node), "; expected "});
    message += expected;
    mistakes_->add(node.source(), std::move(message));
}

std::optional<std::string> TableReader::text(std::string_view key) {
    const toml::node* node = any(key);
    if (node == nullptr) return std::nullopt;
    const auto* text = node->as_string();
    if (text == nullptr || text->get().find_first_not_of(" \t\n") == std::string::npos) {
        wrong(*node, key, "words in quotes");
        return std::nullopt;
    }
    return text->get();
}

std::optional<std::string> TableReader::need_text(std::string_view key, std::string_view expected) {
    return need(key, expected) == nullptr ? std::nullopt : text(key);
}

std::optional<double> TableReader::number(std::string_view key, double least, double most) {
    const toml::node* node = any(key);
    if (node == nullptr) return std::nullopt;
    const auto value = node->is_number() ? node->value<double>() : std::nullopt;
    if (!value || !(*value >= least && *value <= most)) {
        wrong(*node, key,
              text_of({"a number from ", number_text(least), " to ", number_text(most)}));
        return std::nullopt;
    }
    return value;
}

std::optional<int> TableReader::whole(std::string_view key, int least, int most) {
    const toml::node* node = any(key);
    if (node == nullptr) return std::nullopt;
    const auto* value = node->as_integer();
    if (value == nullptr || value->get() < least || value->get() > most) {
        wrong(
            *node, key,
            text_of({"a whole number from ", std::to_string(least), " to ", std::to_string(most)}));
        return std::nullopt;
    }
    return static_cast<int>(value->get());
}

std::optional<bool> TableReader::yes_or_no(std::string_view key) {
    const toml::node* node = any(key);
    if (node == nullptr) return std::nullopt;
    const auto* flag = node->as_boolean();
    if (flag == nullptr) {
        wrong(*node, key, "true or false, without quotes");
        return std::nullopt;
    }
    return flag->get();
}

const toml::array* TableReader::list(std::string_view key, std::string_view expected) {
    const toml::node* node = any(key);
    if (node == nullptr) return nullptr;
    if (!node->is_array() || node->as_array()->empty()) {
        wrong(*node, key, expected);
        return nullptr;
    }
    return node->as_array();
}

std::optional<std::size_t> TableReader::pick(const toml::node& node, std::string_view key,
                                             std::span<const std::string> known) {
    if (const auto* text = node.as_string()) {
        const auto found = std::find(known.begin(), known.end(), text->get());
        if (found != known.end()) return static_cast<std::size_t>(found - known.begin());
        wrong(node, key, joined(known) + did_you_mean(text->get(), known));
    } else {
        wrong(node, key, joined(known));
    }
    return std::nullopt;
}

}  // namespace rankwright::storage

// Reads one table of an instrument file key by key and notes down every mistake with its place.
#pragma once

#include "core/result.h"
#include "core/text.h"

#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <toml++/toml.h>

namespace rankwright::storage {

/// Everything found wrong so far in one file.
class Mistakes {
  public:
    explicit Mistakes(std::string file) : file_(std::move(file)) {}

    void add(const toml::source_region& at, std::string message) {
        add(at.begin, std::move(message));
    }
    void add(const toml::source_position& at, std::string message);
    bool empty() const { return notes_.empty(); }
    /// In the order of the file's lines.
    std::vector<Error> take();

    /// A syntax error hid part of the file: what seems to be missing may stand there.
    bool partly_hidden = false;

  private:
    struct Note {
        int line;
        int column;
        std::string message;
    };
    std::string file_;
    std::vector<Note> notes_;
};

/// A word of the file and what it stands for.
template <typename T>
struct Word {
    const char* word;
    T means;
};

/// Takes the keys of one table; each taker notes a mistake when the value has the wrong type, and
/// is empty then or when the key is absent. At the end of its life every key that nobody asked for
/// is reported as unknown.
class TableReader {
  public:
    /// `what` names the table in messages: `stop "Principal 8"`.
    TableReader(const toml::table& table, std::string what, Mistakes& mistakes)
        : table_(&table), what_(std::move(what)), mistakes_(&mistakes) {}
    TableReader(const TableReader&) = delete;
    TableReader& operator=(const TableReader&) = delete;
    ~TableReader();

    void rename(std::string what) { what_ = std::move(what); }
    const std::string& what() const { return what_; }
    toml::source_region place() const { return table_->source(); }
    Mistakes& mistakes() { return *mistakes_; }

    /// The value of a key, whatever its type; null when absent.
    const toml::node* any(std::string_view key);
    /// The same, noting the absence as a mistake; `expected` says what should stand there.
    const toml::node* need(std::string_view key, std::string_view expected);

    std::optional<std::string> text(std::string_view key);
    std::optional<std::string> need_text(std::string_view key, std::string_view expected);
    std::optional<double> number(std::string_view key, double least, double most);
    std::optional<int> whole(std::string_view key, int least, int most);
    std::optional<bool> yes_or_no(std::string_view key);
    const toml::array* list(std::string_view key, std::string_view expected);

    template <typename T, std::size_t N>
    std::optional<T> word(std::string_view key, const std::array<Word<T>, N>& words) {
        const toml::node* node = any(key);
        if (node == nullptr) return std::nullopt;
        std::vector<std::string> known;
        for (const Word<T>& word : words)
            known.emplace_back(word.word);
        const auto index = pick(*node, key, known);
        return index ? std::optional<T>(words[*index].means) : std::nullopt;
    }

    /// Notes that the value of `key` is no good: "key" is FOUND; expected EXPECTED.
    void wrong(const toml::node& node, std::string_view key, std::string_view expected);

  private:
    std::optional<std::size_t> pick(const toml::node& node, std::string_view key,
                                    std::span<const std::string> known);

    const toml::table* table_;
    std::string what_;
    Mistakes* mistakes_;
    std::vector<std::string> known_keys_;
};

/// A value as messages show it: `"opne"`, `3.5`, `a table`.
std::string shown(const toml::node& node);
/// The nearest known word as the end of a message: ` (did you mean "open"?)`, or nothing.
std::string did_you_mean(std::string_view word, std::span<const std::string> known);

}  // namespace rankwright::storage

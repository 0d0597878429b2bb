#include "report/call_sheet.h"

#include "core/text.h"
#include "organ/reference.h"
#include "report/markup.h"

#include <optional>
#include <string_view>
#include <tuple>
#include <utility>

namespace rankwright::report {

namespace {

bool same_key(const visit::Call::Key& a, const visit::Call::Key& b) {
    return std::tie(a.division, a.key) == std::tie(b.division, b.key);
}

bool same_call(const visit::Call& a, const visit::Call& b) {
    if (a.also.has_value() != b.also.has_value() || (a.also && !same_key(*a.also, *b.also)))
        return false;
    return same_key(a.key, b.key);
}

// Large enough to be read from the bench on the music desk, in poor light (common practice, no
// source).
constexpr std::string_view kSheetStyle = R"css(
@page { margin: 14mm 15mm 16mm; @bottom-right { content: counter(page) " / " counter(pages);
  font: 11pt sans-serif; color: #222; } }
* { box-sizing: border-box; }
html { background: #fff; color: #000; }
body { font: 15pt/1.3 "DejaVu Sans", Arial, Helvetica, sans-serif; max-width: 186mm;
  margin: 0 auto; padding: 6mm 4mm; overflow-wrap: break-word; }
h1 { font-size: 22pt; line-height: 1.15; margin: 0 0 2mm; }
p, ul { margin: 0 0 2mm; }
ul { padding-left: 6mm; }
table { border-collapse: collapse; width: 100%; margin: 6mm 0 0; }
thead { break-after: avoid; }
tr { break-inside: avoid; }
th { text-align: left; font-size: 18pt; line-height: 1.2; padding: 2.5mm 3mm;
  border: 1.2pt solid #000; background: #eee; }
th small { display: block; font-size: 13pt; font-weight: 400; }
td { padding: 2mm 3mm; border-bottom: 0.6pt solid #666; vertical-align: middle; }
td.number { width: 16mm; text-align: right; font-size: 13pt; }
td.tick { width: 14mm; }
td.tick span { display: block; width: 8mm; height: 8mm; border: 1pt solid #000; }
td.key strong { font-size: 24pt; line-height: 1.15; }
td.key .also { display: block; font-size: 18pt; font-weight: 600; }
@media print { body { max-width: none; padding: 0; } }
)css";

std::string key_markup(const visit::Call::Key& key, const std::string& keyboard) {
    std::string words = text_of({"<strong>", name(key.note), "</strong>"});
    if (key.division != keyboard) words += " on the " + name(key.division);
    return words + ", key " + std::to_string(key.key);
}

std::string row(const SheetCall& one, const std::string& keyboard) {
    std::string keys = key_markup(one.call.key, keyboard);
    if (one.call.also)
        keys += text_of({"<span class=\"also\">and hold ",
                         name(key_words(*one.call.also, keyboard)), "</span>"});
    return text_of({"<tr><td class=\"number\">", std::to_string(one.number),
                    "</td><td class=\"key\">", keys,
                    "</td><td class=\"tick\"><span>&#160;</span></td></tr>\n"});
}

std::string table(const CallGroup& group) {
    std::string out = text_of({"<table>\n<thead><tr><th colspan=\"3\" scope=\"col\">",
                               name(group.division), ": draw ", name(draw_words(group)),
                               "<small>nothing else</small></th></tr></thead>\n<tbody>\n"});
    for (const SheetCall& one : group.calls)
        out += row(one, group.division);
    return out + "</tbody></table>\n";
}

}  // namespace

std::size_t CallSheet::count() const {
    return groups.empty() ? 0 : static_cast<std::size_t>(groups.back().calls.back().number);
}

CallSheet call_sheet(const organ::Instrument& instrument, const std::vector<organ::Pipe>& pipes,
                     bool alone) {
    CallSheet sheet;
    sheet.organ = instrument.name;
    sheet.place = instrument.place;
    int number = 0;
    for (const organ::Pipe& pipe : pipes) {
        // A mixture's pipes are heard without their reference at first.
        const bool by_itself = alone || organ::is_of_mixture(instrument, pipe.id);
        const auto reference = by_itself ? std::optional<organ::Reference>{}
                                         : organ::reference_of(instrument, pipe, {});
        visit::Call call = visit::call_for(pipe, reference);
        const bool same_stops = !sheet.groups.empty() &&
                                sheet.groups.back().division == pipe.division &&
                                sheet.groups.back().stops == call.stops;
        if (!same_stops) sheet.groups.push_back({pipe.division, call.stops, {}});
        std::vector<SheetCall>& calls = sheet.groups.back().calls;
        if (same_stops && same_call(calls.back().call, call))
            calls.back().pipes.push_back(pipe.id);
        else
            calls.push_back({++number, std::move(call), {pipe.id}});
    }
    return sheet;
}

std::string draw_words(const CallGroup& group) {
    std::string words;
    for (const std::string& stop : group.stops)
        words += words.empty() ? stop : text_of({", then ", stop, " as well"});
    return words;
}

std::string key_words(const visit::Call::Key& key, const std::string& keyboard) {
    return text_of({key.note, key.division == keyboard ? "" : " on the ",
                    key.division == keyboard ? std::string() : key.division, ", key ",
                    std::to_string(key.key)});
}

std::string to_html(const CallSheet& sheet) {
    std::string out = text_of(
        {"<!DOCTYPE html>\n<html xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"en\">\n<head>\n"
         "<meta charset=\"utf-8\" />\n"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n<title>",
         escaped(sheet.organ), ", calls</title>\n<style>", kSheetStyle,
         "</style>\n</head>\n<body>\n<h1>Calls: ", name(sheet.organ), "</h1>\n"});
    std::string under = sheet.place;
    if (!sheet.date.empty()) under += (under.empty() ? "" : ", ") + sheet.date;
    if (!under.empty()) out += text_of({"<p>", name(under), "</p>\n"});
    out +=
        "<ul>\n<li>Keys are counted from the lowest: key 1.</li>\n"
        "<li>Hold the key until the next is called. Where two keys stand together, hold both.</li>"
        "\n<li>Couplers and tremulants off. The swell shades stay open: somebody has his hands "
        "there.</li>\n<li>Wear ear protection beside loud reeds, and never start or stop the "
        "blower unasked.</li>\n</ul>\n";
    for (const CallGroup& group : sheet.groups)
        out += table(group);
    if (sheet.groups.empty()) out += "<p>Nothing is to be called.</p>\n";
    return out + "</body>\n</html>\n";
}

std::string to_text(const CallSheet& sheet) {
    std::string out;
    for (const CallGroup& group : sheet.groups) {
        out +=
            text_of({out.empty() ? "" : "\n", group.division, ": draw ", draw_words(group), "\n"});
        for (const SheetCall& one : group.calls) {
            const std::string number = std::to_string(one.number);
            out += text_of({std::string(number.size() < 5 ? 5 - number.size() : 0, ' '), number,
                            "  ", key_words(one.call.key, group.division)});
            if (one.call.also) out += " and hold " + key_words(*one.call.also, group.division);
            out += "\n";
        }
    }
    return out;
}

}  // namespace rankwright::report

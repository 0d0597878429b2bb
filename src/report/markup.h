// Text made safe for a page that is both HTML and well-formed XML.
#pragma once

#include <string>
#include <string_view>

namespace rankwright::report {

/// For text and for values of attributes in quotes: & < > " ' as entities (OWASP Cross Site
/// Scripting Prevention Cheat Sheet, output encoding for HTML contexts). What XML 1.0 (section 2.2)
/// allows in no document, and bytes that aren't UTF-8, become U+FFFD.
std::string escaped(std::string_view text);

/// A name amid a sentence of ours: whatever way it is written in, it leaves the rest in order.
std::string name(std::string_view text);

}  // namespace rankwright::report

#pragma once
// JSON as text and back, the same way everywhere. The library's reader and writer are compiled once, here.
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>

namespace fw {

/// The value written in `text`; a discarded value (is_discarded()) where it is not JSON. Never throws.
nlohmann::json json_in(std::string_view text);

/// On one line, without blanks; bytes that are not UTF-8 become U+FFFD. Never throws.
std::string json_text(const nlohmann::json& value);
/// The same, its members in the order they were given.
std::string json_text_in_order(const nlohmann::ordered_json& value);
/// A text alone, as json_text() writes it.
std::string json_quoted(const std::string& text);

}  // namespace fw

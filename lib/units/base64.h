#pragma once
// Bytes as text and back, RFC 4648 section 4.
#include <optional>
#include <string>
#include <string_view>

namespace fw {

std::string base64_of(std::string_view bytes);
/// Nothing when the length is no multiple of four or a letter does not belong there.
std::optional<std::string> base64_in(std::string_view text);

}  // namespace fw

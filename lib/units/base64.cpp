#include "units/base64.h"

#include <cstdint>

namespace fw {

namespace {
constexpr std::string_view alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
}  // namespace

std::string base64_of(std::string_view bytes) {
  std::string out;
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    std::uint32_t v = 0;
    for (std::size_t k = 0; k < 3; ++k) v = v << 8 | (i + k < bytes.size() ? static_cast<unsigned char>(bytes[i + k]) : 0u);
    for (std::size_t k = 0; k < 4; ++k) out += i + k <= bytes.size() ? alphabet[v >> (18 - 6 * k) & 63] : '=';
  }
  return out;
}

std::optional<std::string> base64_in(std::string_view text) {
  if (text.size() % 4 != 0) return std::nullopt;
  while (!text.empty() && text.back() == '=') text.remove_suffix(1);
  std::string out;
  std::uint32_t v = 0;
  int bits = 0;
  for (const char c : text) {
    const auto n = alphabet.find(c);
    if (n == std::string_view::npos) return std::nullopt;
    v = v << 6 | static_cast<std::uint32_t>(n);
    bits += 6;
    if (bits >= 8) {
      bits -= 8;
      out += static_cast<char>(v >> bits & 0xFF);
    }
  }
  return out;
}

}  // namespace fw

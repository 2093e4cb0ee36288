#include "journal/packed.h"

#include <zlib.h>

#include "units/base64.h"

namespace fw::journal {

namespace {

constexpr std::string_view mark = "packed:";
constexpr std::size_t worth_it = 4096, most = 16u << 20;

}  // namespace

std::string packed(std::string_view text) {
  std::string plain(text);
  if (text.size() < worth_it && !text.starts_with(mark)) return plain;
  std::string deflated(compressBound(static_cast<uLong>(text.size())), '\0');
  uLongf n = static_cast<uLongf>(deflated.size());
  if (compress2(reinterpret_cast<Bytef*>(deflated.data()), &n, reinterpret_cast<const Bytef*>(text.data()), static_cast<uLong>(text.size()), 6) != Z_OK)
    return plain;
  deflated.resize(n);
  std::string out = std::string(mark) + std::to_string(text.size()) + ':' + base64_of(deflated);
  return out.size() < text.size() || text.starts_with(mark) ? out : plain;
}

std::optional<std::string> unpacked(std::string_view text) {
  if (!text.starts_with(mark)) return std::string(text);
  text.remove_prefix(mark.size());
  std::size_t size = 0;
  while (!text.empty() && text[0] >= '0' && text[0] <= '9' && size <= most) {
    size = size * 10 + static_cast<std::size_t>(text[0] - '0');
    text.remove_prefix(1);
  }
  if (size > most || !text.starts_with(':')) return std::nullopt;
  const auto deflated = base64_in(text.substr(1));
  if (!deflated) return std::nullopt;
  std::string out(size, '\0');
  uLongf n = static_cast<uLongf>(size);
  if (uncompress(reinterpret_cast<Bytef*>(out.data()), &n, reinterpret_cast<const Bytef*>(deflated->data()), static_cast<uLong>(deflated->size())) != Z_OK ||
      n != size)
    return std::nullopt;
  return out;
}

}  // namespace fw::journal

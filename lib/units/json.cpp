#include "units/json.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>

#include "units/text.h"

namespace fw {

namespace {

// The library's own writer looks at every character of a text and hands out every piece through a virtual call. This one
// gives the same bytes (tested) and leaves to the library what is rare.
template <class Json>
void write(const Json& value, std::string& out);

bool plain(char c) { return c != '"' && c != '\\' && static_cast<unsigned char>(c) >= 0x20; }

template <class Json>
void write_text(const std::string& text, std::string& out) {
  const bool ascii = std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; });
  if ((ascii || is_utf8(text)) && std::all_of(text.begin(), text.end(), plain)) {
    out += '"';
    out += text;
    out += '"';
  } else {
    out += Json(text).dump(-1, ' ', false, Json::error_handler_t::replace);
  }
}

template <class Number>
void write_whole(Number n, std::string& out) {
  std::array<char, 24> digits;
  out.append(digits.data(), std::to_chars(digits.data(), digits.data() + digits.size(), n).ptr);
}

void write_real(double v, std::string& out) {
  if (!std::isfinite(v)) {
    out += "null";
  } else if (v == 0 && !std::signbit(v)) {
    out += "0.0";
  } else {
    std::array<char, 64> digits;
    out.append(digits.data(), nlohmann::detail::to_chars(digits.data(), digits.data() + digits.size(), v));
  }
}

template <class Json>
void write(const Json& value, std::string& out) {
  using Type = nlohmann::json::value_t;
  switch (value.type()) {
    case Type::object: {
      char before = '{';
      for (const auto& [key, member] : value.template get_ref<const typename Json::object_t&>()) {
        out += before;
        before = ',';
        write_text<Json>(key, out);
        out += ':';
        write(member, out);
      }
      if (before == '{') out += before;
      out += '}';
      break;
    }
    case Type::array: {
      char before = '[';
      for (const auto& member : value.template get_ref<const typename Json::array_t&>()) {
        out += before;
        before = ',';
        write(member, out);
      }
      if (before == '[') out += before;
      out += ']';
      break;
    }
    case Type::string: write_text<Json>(value.template get_ref<const std::string&>(), out); break;
    case Type::boolean: out += value.template get<bool>() ? "true" : "false"; break;
    case Type::number_integer: write_whole(value.template get<std::int64_t>(), out); break;
    case Type::number_unsigned: write_whole(value.template get<std::uint64_t>(), out); break;
    case Type::number_float: write_real(value.template get<double>(), out); break;
    default: out += value.dump(-1, ' ', false, Json::error_handler_t::replace); break;
  }
}

}  // namespace

nlohmann::json json_in(std::string_view text) { return nlohmann::json::parse(text, nullptr, false); }

std::string json_quoted(const std::string& text) {
  std::string out;
  write_text<nlohmann::json>(text, out);
  return out;
}

std::string json_text(const nlohmann::json& value) {
  std::string out;
  write(value, out);
  return out;
}

std::string json_text_in_order(const nlohmann::ordered_json& value) {
  std::string out;
  write(value, out);
  return out;
}

}  // namespace fw

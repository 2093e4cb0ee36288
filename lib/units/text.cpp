#include "units/text.h"

#include <array>
#include <charconv>
#include <cmath>

namespace fw {

std::string fixed(double value, int decimals) {
  if (!std::isfinite(value)) return {};
  std::array<char, 400> buf;
  auto [end, ec] = std::to_chars(buf.data(), buf.data() + buf.size(), value, std::chars_format::fixed, decimals);
  if (ec != std::errc{}) return {};
  std::string s(buf.data(), end);
  if (s.front() == '-' && s.find_first_of("123456789") == std::string::npos) s.erase(0, 1);
  return s;
}

std::string fixed(std::optional<double> value, int decimals) { return value ? fixed(*value, decimals) : std::string{}; }

std::string significant(double value, int digits) {
  if (!std::isfinite(value)) return {};
  if (value == 0.0) return "0";
  const int magnitude = static_cast<int>(std::floor(std::log10(std::fabs(value))));
  const double step = std::pow(10.0, magnitude - digits + 1);
  const double rounded = std::round(value / step) * step;
  if (rounded == 0.0) return "0";
  const int magnitude_rounded = static_cast<int>(std::floor(std::log10(std::fabs(rounded)) + 1e-12));
  const int decimals = std::max(0, digits - 1 - magnitude_rounded);
  return fixed(rounded, decimals);
}

std::optional<double> number_in(std::string_view text) {
  const auto first = text.find_first_not_of(" \t\r\n");
  if (first == std::string_view::npos) return std::nullopt;
  text = text.substr(first, text.find_last_not_of(" \t\r\n") - first + 1);
  if (text.front() == '+') {
    text.remove_prefix(1);
    if (text.empty() || text.front() == '-') return std::nullopt;
  }
  double value = 0;
  auto [end, ec] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (ec != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::string iso_utc(Utc t) {
  const auto day = std::chrono::floor<days>(t);
  const std::chrono::year_month_day ymd{day};
  const auto ms = (t - day).count();
  const int year = static_cast<int>(ymd.year());
  std::string out = year >= 0 && year <= 9999 ? "" : std::to_string(year);
  const auto put = [&](auto number, int width) {
    auto n = static_cast<unsigned>(number);
    const std::size_t from = out.size();
    out.append(static_cast<std::size_t>(width), '0');
    for (std::size_t i = from + static_cast<std::size_t>(width); i-- > from; n /= 10) out[i] = static_cast<char>('0' + n % 10);
  };
  out.reserve(24);
  if (out.empty()) put(year, 4);
  out += '-';
  put(static_cast<unsigned>(ymd.month()), 2);
  out += '-';
  put(static_cast<unsigned>(ymd.day()), 2);
  out += 'T';
  put(ms / 3600000, 2);
  out += ':';
  put(ms / 60000 % 60, 2);
  out += ':';
  put(ms / 1000 % 60, 2);
  if (ms % 1000 != 0) {
    out += '.';
    put(ms % 1000, 3);
  }
  return out += 'Z';
}

namespace {

bool digits(std::string_view& s, int count, int& out) {
  if (static_cast<int>(s.size()) < count) return false;
  out = 0;
  for (int i = 0; i < count; ++i) {
    if (s[i] < '0' || s[i] > '9') return false;
    out = out * 10 + (s[i] - '0');
  }
  s.remove_prefix(count);
  return true;
}

bool take(std::string_view& s, char c) {
  if (s.empty() || s.front() != c) return false;
  s.remove_prefix(1);
  return true;
}

}  // namespace

std::optional<Utc> utc_in(std::string_view s) {
  int year, month, day, hour, minute, second = 0;
  if (!digits(s, 4, year) || !take(s, '-') || !digits(s, 2, month) || !take(s, '-') || !digits(s, 2, day)) return {};
  if (!take(s, 'T') && !take(s, ' ') && !take(s, 't')) return {};
  if (!digits(s, 2, hour) || !take(s, ':') || !digits(s, 2, minute)) return {};
  int ms = 0;
  if (take(s, ':')) {
    if (!digits(s, 2, second)) return {};
    if (take(s, '.')) {
      int scale = 100, count = 0;
      while (!s.empty() && s.front() >= '0' && s.front() <= '9') {
        ms += (s.front() - '0') * scale;
        scale /= 10;
        ++count;
        s.remove_prefix(1);
      }
      if (count == 0) return {};
    }
  }
  int zone_minutes = 0;
  if (!take(s, 'Z') && !take(s, 'z')) {
    const bool minus = take(s, '-');
    if (!minus && !take(s, '+')) return {};
    int zh, zm = 0;
    if (!digits(s, 2, zh)) return {};
    if (take(s, ':') || !s.empty()) {
      if (!digits(s, 2, zm)) return {};
    }
    if (zh > 15 || zm > 59) return {};
    zone_minutes = (minus ? -1 : 1) * (zh * 60 + zm);
  }
  const std::chrono::year_month_day ymd{std::chrono::year{year}, std::chrono::month{static_cast<unsigned>(month)},
                                        std::chrono::day{static_cast<unsigned>(day)}};
  if (!s.empty() || !ymd.ok() || hour > 23 || minute > 59 || second > 60) return {};
  return Utc{std::chrono::sys_days{ymd}} + hours{hour} + minutes{minute - zone_minutes} + seconds{second} + Span{ms};
}

namespace {

/// Length of the well-formed UTF-8 character at the front, 0 when malformed.
std::size_t utf8_length(std::string_view s) {
  const auto b = [&](std::size_t i) { return i < s.size() ? static_cast<unsigned char>(s[i]) : 0u; };
  const auto tail = [&](std::size_t i) { return (b(i) & 0xC0u) == 0x80u; };
  const unsigned c = b(0);
  if (c < 0x80) return 1;
  if (c >= 0xC2 && c <= 0xDF) return tail(1) ? 2 : 0;
  if (c >= 0xE0 && c <= 0xEF) {
    if (!tail(1) || !tail(2)) return 0;
    if (c == 0xE0 && b(1) < 0xA0) return 0;
    if (c == 0xED && b(1) > 0x9F) return 0;
    return 3;
  }
  if (c >= 0xF0 && c <= 0xF4) {
    if (!tail(1) || !tail(2) || !tail(3)) return 0;
    if (c == 0xF0 && b(1) < 0x90) return 0;
    if (c == 0xF4 && b(1) > 0x8F) return 0;
    return 4;
  }
  return 0;
}

}  // namespace

bool is_utf8(std::string_view text) {
  while (!text.empty()) {
    const std::size_t n = utf8_length(text);
    if (n == 0) return false;
    text.remove_prefix(n);
  }
  return true;
}

std::string printable(std::string_view text, std::size_t limit) {
  std::string out;
  while (!text.empty()) {
    const std::size_t n = utf8_length(text);
    const bool control = n == 1 && (static_cast<unsigned char>(text[0]) < 0x20 || text[0] == 0x7F);
    const std::string_view piece = n == 0 || control ? std::string_view{"?"} : text.substr(0, n);
    if (out.size() + piece.size() > limit) return out + "...";
    out += piece;
    text.remove_prefix(n == 0 ? 1 : n);
  }
  return out;
}

}  // namespace fw

#pragma once
// Typed reads from a snapshot's JSON that never throw: a field of another type counts as absent.
#include <cstdint>
#include <optional>
#include <string>

#include <nlohmann/json.hpp>

namespace fw::alarms::json_fields {

inline std::string text(const nlohmann::json& j, const char* name) {
  const auto it = j.find(name);
  return it != j.end() && it->is_string() ? it->get<std::string>() : std::string{};
}

inline bool flag(const nlohmann::json& j, const char* name) {
  const auto it = j.find(name);
  return it != j.end() && it->is_boolean() && it->get<bool>();
}

inline std::optional<std::int64_t> whole(const nlohmann::json& j, const char* name) {
  const auto it = j.find(name);
  if (it == j.end() || !it->is_number_integer()) return std::nullopt;
  const auto v = it->get<std::int64_t>();
  // Years -2000..9000 in milliseconds: anything else would overflow later sums.
  if (v < -125'000'000'000'000 || v > 222'000'000'000'000) return std::nullopt;
  return v;
}

}  // namespace fw::alarms::json_fields

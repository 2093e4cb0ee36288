#include "intake/sender_time.h"

#include <string>

#include "units/text.h"

namespace fw::intake {

namespace {

constexpr double latest_epoch_s = 7258118400.0;  // 2200-01-01

std::optional<double> number_of(const JsonNode& n) {
  if (n.kind == JsonNode::Kind::number) return n.number;
  if (n.kind == JsonNode::Kind::text) return number_in(n.text);
  return std::nullopt;
}

}  // namespace

std::optional<Utc> time_in(const JsonNode& node, rig::TimeForm form, const Words& zone, Utc near) {
  switch (form) {
    case rig::TimeForm::none: return std::nullopt;
    case rig::TimeForm::epoch_s:
    case rig::TimeForm::epoch_ms: {
      const auto raw = number_of(node);
      if (!raw) return std::nullopt;
      const double seconds = form == rig::TimeForm::epoch_s ? *raw : *raw / 1000;
      if (!(seconds >= 0 && seconds < latest_epoch_s)) return std::nullopt;
      return utc_ms(static_cast<std::int64_t>(seconds * 1000 + 0.5));
    }
    case rig::TimeForm::iso:
    case rig::TimeForm::local: {
      if (node.kind != JsonNode::Kind::text && node.kind != JsonNode::Kind::word) return std::nullopt;
      const auto t = form == rig::TimeForm::iso ? utc_in(node.text) : zone.from_local(node.text, near);
      if (!t || ms_of(*t) < 0 || ms_of(*t) >= static_cast<std::int64_t>(latest_epoch_s) * 1000) return std::nullopt;
      return t;
    }
  }
  return std::nullopt;
}

}  // namespace fw::intake

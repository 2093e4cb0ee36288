#include "guard/wire.h"

#include <cmath>

#include "units/json.h"
#include "units/text.h"

namespace fw::guard {

namespace {

/// Amperes to a tenth, never rounded up.
std::string amperes(double a) { return fixed(std::floor(a * 10 + 1e-9) / 10, 1); }

std::string limit_payload(const rig::Charger& c, double a) {
  std::string out = c.limit_payload;
  if (const auto at = out.find("{a}"); at != std::string::npos) out.replace(at, 3, amperes(a));
  return out;
}

/// A heater with a set point of its own: {c} or {f} in its on text is where the cells are to be warmed to.
std::string heat_payload(const rig::Heater& h) {
  std::string out = h.command.on_payload;
  for (const auto& [mark, value] : {std::pair{"{c}", h.off_above_c}, {"{f}", h.off_above_c * 1.8 + 32}})
    if (const auto at = out.find(mark); at != std::string::npos) out.replace(at, 3, fixed(value, 1));
  return out;
}

Publish kept(const std::string& connection, std::string topic, std::string payload) {
  return {connection, std::move(topic), std::move(payload), 1, true, std::nullopt, ""};
}

Publish passing(const std::string& connection, std::string topic, std::string payload, Span valid_for) {
  return {connection, std::move(topic), std::move(payload), 0, false, static_cast<int>(valid_for / seconds{1}), ""};
}

Publish refusal(const rig::Rig& rig, const rig::Charger& c, const std::string& reason) {
  return kept(c.name, permit_topic(rig, c),
              "{\"permit\":false,\"current_limit_a\":0,\"reason\":" + json_quoted(reason) + ",\"valid_for_s\":null,\"valid_until\":null}");
}

}  // namespace

std::string permit_topic(const rig::Rig& rig, const rig::Charger& c) {
  return "firnwatt/" + rig.name + "/chargers/" + c.name + "/permit";
}

std::vector<Publish> yes_for(const rig::Rig& rig, const rig::Charger& c, double limit_a, const std::string& reason,
                             Span valid_for, Utc valid_until) {
  std::vector<Publish> out;
  std::string payload;
  payload.reserve(160 + reason.size());
  payload.append("{\"permit\":true,\"current_limit_a\":").append(amperes(limit_a)).append(",\"reason\":").append(json_quoted(reason));
  payload.append(",\"valid_for_s\":").append(std::to_string(valid_for / seconds{1})).append(",\"valid_until\":\"").append(iso_utc(valid_until)).append("\"}");
  out.push_back(passing(c.name, permit_topic(rig, c), std::move(payload), valid_for));
  if (!c.limit_topic.empty()) out.push_back(passing(c.name, c.limit_topic, limit_payload(c, limit_a), valid_for));
  if (c.command.configured() && c.stop_by != rig::StopBy::never)
    out.push_back(passing(c.name, c.command.topic, c.command.on_payload, valid_for));
  return out;
}

std::vector<Publish> no_for(const rig::Rig& rig, const rig::Charger& c, const std::string& reason) {
  std::vector<Publish> out{refusal(rig, c, reason)};
  if (!c.limit_topic.empty()) out.push_back(kept(c.name, c.limit_topic, limit_payload(c, 0)));
  return out;
}

std::optional<Publish> off_for(const rig::Charger& c) {
  if (!c.command.configured() || c.stop_by == rig::StopBy::never) return std::nullopt;
  return kept(c.name, c.command.topic, c.command.off_payload);
}

Publish will_for(const rig::Rig& rig, const rig::Charger& c) {
  // A limit is the gentler way down where cutting under load does harm, but a will is one message only.
  if (auto off = off_for(c); off && (c.stop_by == rig::StopBy::off || c.limit_topic.empty())) return *off;
  if (!c.limit_topic.empty()) return kept(c.name, c.limit_topic, limit_payload(c, 0));
  return refusal(rig, c, "firnwatt is gone");
}

Publish heat_on_for(const rig::Heater& h, Span valid_for) { return passing(h.name, h.command.topic, heat_payload(h), valid_for); }

Publish heat_off_for(const rig::Heater& h) { return kept(h.name, h.command.topic, h.command.off_payload); }

std::string can_be_stopped(const rig::Charger& c) {
  const bool limit = !c.limit_topic.empty();
  const bool off = off_for(c).has_value();
  std::string s = c.name + ": ";
  if (!limit && !off) {
    s += c.stop_by == rig::StopBy::never ? "cannot be stopped by firnwatt, it is never to be cut and takes no limit"
                                         : "only told by its permit topic; it stops if something reads that";
  } else if (c.stop_by == rig::StopBy::never) {
    s += "can be limited to 0 A, is never switched off";
  } else if (limit && off) {
    s += c.stop_by == rig::StopBy::limit ? "can be stopped: limit 0 A first, then off" : "can be stopped: off, and limit 0 A";
  } else {
    s += limit ? "can be stopped by its limit only" : "can be stopped: off";
  }
  if (c.stays_on_without_board) s += "; goes on charging if the board loses power";
  return s;
}

bool may_obey(const rig::Charger& c) { return !c.limit_topic.empty() || off_for(c) || c.stop_by != rig::StopBy::never; }

}  // namespace fw::guard

#include "core/inbound.h"

#include <cmath>
#include <nlohmann/json.hpp>

#include "units/json.h"
#include "units/text.h"

namespace fw::core {

namespace {

using nlohmann::json;

std::optional<std::string> text_at(const json& j, const char* key) {
  const auto it = j.find(key);
  if (it == j.end() || !it->is_string()) return std::nullopt;
  return it->get<std::string>();
}

bool flag_at(const json& j, const char* key, bool otherwise) {
  const auto it = j.find(key);
  return it != j.end() && it->is_boolean() ? it->get<bool>() : otherwise;
}

bool key_form(std::string_view key) {
  if (key.empty() || key.size() > 100) return false;
  for (const char c : key)
    if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' || c == '_')) return false;
  return true;
}

Fault refused(std::string_view topic, std::string what) { return {std::string(topic), std::move(what)}; }

Result<Inbox> shell_word(std::string_view topic, const json& j) {
  if (topic == "clock") {
    const auto it = j.find("offset_ms");
    if (it == j.end() || !it->is_number()) return refused(topic, "wants {\"offset_ms\": number, \"trusted\": true or false}");
    const double ms = it->get<double>();
    if (!(std::fabs(ms) < 4e12)) return refused(topic, "offset_ms is outside any clock");
    return Inbox{ClockSet{Span{static_cast<Span::rep>(ms)}, flag_at(j, "trusted", true)}};
  }
  if (topic == "broker")
    return Inbox{BrokerState{flag_at(j, "connected", false), flag_at(j, "id_taken", false), text_at(j, "why").value_or("")}};
  if (topic == "sent") {
    const auto id = text_at(j, "id");
    if (!id) return refused(topic, "wants {\"id\": text}");
    return Inbox{NoticeSent{*id}};
  }
  return Inbox{JournalState{text_at(j, "trouble")}};
}

}  // namespace

std::vector<std::string> Inbound::filters() {
  return {"alarms/+/acknowledge", "alarms/+/shelve", "notices/seen", "ask", "notes", "link"};
}

Result<Inbox> Inbound::read(std::string_view topic, const Message& m) {
  if (topic == "link") return Inbox{LinkState{m.payload == "1"}};
  if (topic == "clock" || topic == "broker" || topic == "sent" || topic == "journal") {
    const json j = json_in(m.payload);
    if (!j.is_object()) return refused(topic, "is not a JSON object");
    return shell_word(topic, j);
  }

  const bool acknowledge = topic.starts_with("alarms/") && topic.ends_with("/acknowledge");
  const bool shelve = topic.starts_with("alarms/") && topic.ends_with("/shelve");
  if (!acknowledge && !shelve && topic != "notices/seen" && topic != "ask" && topic != "notes") return Inbox{Ours{}};

  if (m.retain) return refused(topic, "kept by the broker from an earlier time, not carried out");
  if (m.payload.size() > inbound_limit_bytes)
    return refused(topic, "is longer than " + std::to_string(inbound_limit_bytes) + " bytes, not carried out");
  if (!is_utf8(m.payload)) return refused(topic, "is not UTF-8 text, not carried out");
  const Elapsed minute = floor_to(m.at, std::chrono::minutes{1});
  if (minute != minute_) {
    minute_ = minute;
    in_minute_ = 0;
  }
  if (++in_minute_ > inbound_per_minute)
    return refused(topic, "more than " + std::to_string(inbound_per_minute) + " requests in a minute, the rest is not carried out");

  const json j = json_in(m.payload);
  const json object = j.is_object() ? j : json::object();
  if (acknowledge || shelve) {
    const auto key = topic.substr(7, topic.rfind('/') - 7);
    if (!key_form(key)) return refused(topic, "names no alarm");
    if (acknowledge) return Inbox{Acknowledge{std::string(key), printable(text_at(object, "by").value_or("phone"), 60)}};
    const auto it = object.find("hours");
    if (it == object.end() || !it->is_number()) return refused(topic, "wants {\"hours\": number}");
    const double h = it->get<double>();
    if (!(h > 0 && h <= 24 * 7)) return refused(topic, "hours must be above 0 and at most 168");
    return Inbox{Shelve{std::string(key), h}};
  }
  if (topic == "notices/seen") {
    const auto id = text_at(object, "id");
    if (!id || id->size() > 100) return refused(topic, "wants {\"id\": text}");
    return Inbox{NoticeSeen{*id}};
  }
  if (topic == "ask") return Inbox{Ask{}};

  if (!j.is_object()) {
    if (m.payload.empty()) return refused(topic, "is empty");
    return Inbox{Said{NoteEvent::text, std::nullopt, printable(j.is_string() ? j.get<std::string>() : m.payload, 2000)}};
  }
  Said said;
  said.text = printable(text_at(j, "text").value_or(""), 2000);
  said.string = text_at(j, "string");
  if (const auto event = text_at(j, "event")) {
    const auto known = note_event_in(*event);
    if (!known)
      return refused(topic, "event '" + printable(*event, 40) +
                                "' is unknown; use panels_cleared, string_off, string_on, rig_moved, rig_turned, away, back, "
                                "shore_on or shore_off");
    said.event = *known;
  } else if (said.text.empty()) {
    return refused(topic, "has neither event nor text");
  }
  return Inbox{said};
}

}  // namespace fw::core

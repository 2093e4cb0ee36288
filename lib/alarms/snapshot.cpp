// The alarms room's memory across a restart, as versioned JSON.
#include <algorithm>

#include "alarms/alarms.h"
#include "alarms/json_fields.h"
#include "units/json.h"

namespace fw::alarms {
namespace {

using nlohmann::json;
using namespace json_fields;
constexpr int version = 1;

void put(json& j, const char* name, const std::optional<Elapsed>& t) {
  if (t) j[name] = ms_of(*t);
}

}  // namespace

std::string Alarms::snapshot() const {
  json all;
  all["version"] = version;
  all["at"] = ms_of(last_.value_or(Elapsed{}));
  json list = json::object();
  for (const auto& [key, a] : book_) {
    if (!a.condition && a.acked && !a.shelved_until && !a.told && !a.told_at && !a.ever_published) continue;
    json j;
    j["alarm"] = a.alarm;
    j["subject"] = a.subject;
    j["text"] = a.text;
    if (!a.over_text.empty()) j["over_text"] = a.over_text;
    if (!a.group.empty()) j["group"] = a.group;
    if (!a.group_text.empty()) j["group_text"] = a.group_text;
    if (!a.hidden_by.empty()) j["hidden_by"] = a.hidden_by;
    j["worth_saying"] = a.worth_saying;
    if (a.own_priority) j["priority"] = *a.own_priority;
    j["condition"] = a.condition;
    j["chattering"] = a.chattering;
    j["raised_at"] = ms_of(a.raised_at);
    j["raised_utc"] = ms_of(a.raised_utc);
    put(j, "cleared_at", a.cleared_at);
    j["cleared_utc"] = ms_of(a.cleared_utc);
    j["acked"] = a.acked;
    if (!a.acked_by.empty()) j["acked_by"] = a.acked_by;
    put(j, "shelved_until", a.shelved_until);
    j["hidden"] = a.hidden;
    j["told"] = a.told;
    j["told_priority"] = a.told_priority;
    put(j, "told_at", a.told_at);
    j["reminders"] = a.reminders;
    put(j, "look_at", a.look_at);
    put(j, "remind_at", a.remind_at);
    put(j, "settled_at", a.settled_at);
    j["settled"] = a.settled;
    if (!a.published.empty()) j["published"] = a.published;
    j["ever_published"] = a.ever_published;
    list[key] = std::move(j);
  }
  all["alarms"] = std::move(list);
  return json_text(all);
}

void Alarms::restore(std::string_view snapshot, Now now) {
  const json all = json_in(snapshot);
  if (!all.is_object() || whole(all, "version") != version || !all.contains("alarms") || !all["alarms"].is_object()) return;
  book_.clear();
  deadline_known_ = false;
  // A board without a clock module can start with its elapsed line behind the one it had: nothing lies in the future.
  const std::int64_t had = whole(all, "at").value_or(ms_of(now.at));
  const Span shift{std::min<std::int64_t>(0, ms_of(now.at) - had)};
  const auto time = [&](const json& j, const char* name) -> std::optional<Elapsed> {
    const auto v = whole(j, name);
    return v ? std::optional{elapsed_ms(*v) + shift} : std::nullopt;
  };
  for (const auto& [key, j] : all["alarms"].items()) {
    if (!j.is_object()) continue;
    Alarm a;
    a.alarm = text(j, "alarm");
    a.subject = text(j, "subject");
    if (key != a.alarm + "-" + a.subject) continue;
    a.text = text(j, "text");
    a.over_text = text(j, "over_text");
    a.group = text(j, "group");
    a.group_text = text(j, "group_text");
    if (const auto it = j.find("hidden_by"); it != j.end() && it->is_array())
      for (const auto& k : *it)
        if (k.is_string()) a.hidden_by.push_back(k.get<std::string>());
    a.worth_saying = flag(j, "worth_saying");
    if (const auto p = whole(j, "priority")) a.own_priority = static_cast<int>(std::clamp<std::int64_t>(*p, 0, 2));
    a.condition = flag(j, "condition");
    a.chattering = flag(j, "chattering");
    a.raised_at = time(j, "raised_at").value_or(now.at);
    a.raised_utc = utc_ms(whole(j, "raised_utc").value_or(ms_of(now.utc)));
    a.cleared_at = time(j, "cleared_at");
    a.cleared_utc = utc_ms(whole(j, "cleared_utc").value_or(0));
    a.acked = flag(j, "acked");
    a.acked_by = text(j, "acked_by");
    a.shelved_until = time(j, "shelved_until");
    a.hidden = flag(j, "hidden");
    a.told = flag(j, "told");
    a.told_priority = static_cast<int>(std::clamp<std::int64_t>(whole(j, "told_priority").value_or(0), 0, 2));
    a.told_at = time(j, "told_at");
    a.reminders = static_cast<int>(std::clamp<std::int64_t>(whole(j, "reminders").value_or(0), 0, 1000));
    a.look_at = time(j, "look_at");
    a.remind_at = time(j, "remind_at");
    a.settled_at = time(j, "settled_at");
    a.settled = flag(j, "settled");
    a.published = text(j, "published");
    a.ever_published = flag(j, "ever_published");
    // Delays begin anew: what happened while nobody watched is not known.
    a.raw = a.condition;
    a.raw_since = now.at;
    a.offered_at = now.at;
    for (auto* t : {&a.shelved_until, &a.look_at, &a.remind_at, &a.settled_at})
      if (*t) **t = std::max(**t, now.at);
    book_.emplace(key, std::move(a));
  }
  last_ = now.at;
  for (auto& w : watches_) w.start(now.at);
  for (auto& [key, a] : book_) {
    const bool known = built_in(a.alarm) || rule_named(a.alarm);
    const bool rule_moved = rule_named(a.alarm) && std::find(rule_keys_.begin(), rule_keys_.end(), key) == rule_keys_.end();
    if (!a.condition || (known && enabled(a.alarm) && !rule_moved)) continue;
    a.over_text.clear();
    clear(key, a, now, "expired");
  }
}

}  // namespace fw::alarms

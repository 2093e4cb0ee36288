// The outbox across a restart, as versioned JSON.
#include <algorithm>

#include "alarms/json_fields.h"
#include "outbox/outbox.h"
#include "units/json.h"

namespace fw::outbox {
namespace {

using nlohmann::json;
using namespace alarms::json_fields;
constexpr int version = 1;

}  // namespace

std::string Outbox::snapshot() const {
  json all;
  all["version"] = version;
  all["at"] = ms_of(last_);
  json list = json::array();
  for (const auto& e : open_) {
    json j;
    j["id"] = e.notice.id;
    j["utc"] = ms_of(e.notice.utc);
    j["priority"] = static_cast<int>(e.notice.priority);
    j["alarm"] = e.notice.alarm;
    j["subject"] = e.notice.subject;
    j["text"] = e.notice.text;
    j["key"] = e.notice.key;
    j["ending"] = e.notice.ending;
    j["again"] = e.notice.again;
    j["stored_at"] = ms_of(e.stored.at);
    j["stored_utc"] = ms_of(e.stored.utc);
    j["stored_trusted"] = e.stored.trusted;
    j["composed"] = e.composed;
    j["held"] = e.held;
    j["granted"] = e.granted;
    j["sent"] = e.sent;
    j["fresh_words"] = e.fresh_words;
    j["order"] = e.order;
    j["tries"] = e.tries;
    if (e.ended) j["ended"] = ms_of(*e.ended);
    if (e.not_before) j["not_before"] = ms_of(*e.not_before);
    list.push_back(std::move(j));
  }
  all["open"] = std::move(list);
  all["closed"] = closed_;
  all["told"] = told_;
  for (const auto& [key, at] : heard_at_) all["heard_at"][key] = ms_of(at);
  if (out_of_reach_since_) all["out_of_reach_since"] = ms_of(*out_of_reach_since_);
  if (next_gathering_) all["next_gathering"] = ms_of(*next_gathering_);
  all["counted_day"] = counted_day_;
  all["counted"] = counted_;
  all["summary_day"] = summary_day_;
  all["orders"] = orders_;
  return json_text(all);
}

void Outbox::restore(std::string_view snapshot, Now now) {
  const json all = json_in(snapshot);
  if (!all.is_object() || whole(all, "version") != version || !all.contains("open") || !all["open"].is_array()) return;
  open_.clear();
  closed_.clear();
  told_.clear();
  // A board without a clock module can start with its elapsed line behind the one it had: nothing lies in the future.
  const std::int64_t had = whole(all, "at").value_or(ms_of(now.at));
  const Span shift{std::min<std::int64_t>(0, ms_of(now.at) - had)};
  for (const auto& j : all["open"]) {
    if (!j.is_object()) continue;
    Entry e;
    e.notice.id = text(j, "id");
    if (e.notice.id.empty()) continue;
    e.notice.utc = utc_ms(whole(j, "utc").value_or(ms_of(now.utc)));
    e.notice.priority = static_cast<rig::Priority>(std::clamp<std::int64_t>(whole(j, "priority").value_or(0), 0, 2));
    e.notice.alarm = text(j, "alarm");
    e.notice.subject = text(j, "subject");
    e.notice.text = text(j, "text");
    e.notice.key = text(j, "key");
    e.notice.ending = flag(j, "ending");
    e.notice.again = flag(j, "again");
    e.stored.at = std::min(now.at, elapsed_ms(whole(j, "stored_at").value_or(ms_of(now.at))) + shift);
    e.stored.utc = utc_ms(whole(j, "stored_utc").value_or(ms_of(now.utc)));
    e.stored.trusted = flag(j, "stored_trusted");
    e.composed = flag(j, "composed");
    e.held = flag(j, "held");
    e.sent = flag(j, "sent");
    e.fresh_words = flag(j, "fresh_words");
    e.order = static_cast<std::uint64_t>(std::max<std::int64_t>(0, whole(j, "order").value_or(0)));
    e.tries = static_cast<int>(std::clamp<std::int64_t>(whole(j, "tries").value_or(0), 0, 1000));
    // Whether it arrived is not known: again, with its id. What had not left is judged anew, a gathered
    // message excepted, for others are folded into it.
    e.granted = e.sent || (e.composed && flag(j, "granted"));
    e.publish = e.granted;
    if (const auto t = whole(j, "ended")) e.ended = utc_ms(*t);
    if (const auto t = whole(j, "not_before")) e.not_before = elapsed_ms(*t) + shift;
    open_.push_back(std::move(e));
  }
  if (const auto it = all.find("closed"); it != all.end() && it->is_array())
    for (const auto& id : *it)
      if (id.is_string()) closed_.push_back(id.get<std::string>());
  if (const auto it = all.find("told"); it != all.end() && it->is_object())
    for (const auto& [key, value] : it->items())
      if (value.is_boolean()) told_[key] = value.get<bool>();
  heard_at_.clear();
  if (const auto it = all.find("heard_at"); it != all.end() && it->is_object())
    for (const auto& [key, value] : it->items())
      if (const auto t = whole(*it, key.c_str())) heard_at_[key] = elapsed_ms(*t) + shift;
  if (const auto t = whole(all, "out_of_reach_since")) out_of_reach_since_ = utc_ms(*t);
  if (const auto t = whole(all, "next_gathering")) next_gathering_ = utc_ms(*t);
  counted_day_ = text(all, "counted_day");
  counted_ = static_cast<int>(std::clamp<std::int64_t>(whole(all, "counted").value_or(0), 0, 1000));
  summary_day_ = text(all, "summary_day");
  orders_ = static_cast<std::uint64_t>(std::max<std::int64_t>(0, whole(all, "orders").value_or(0)));
  last_ = now.at;
  wake_at_ = now.at;
}

}  // namespace fw::outbox

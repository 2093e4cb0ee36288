#include <algorithm>

#include "config/sections.h"
#include "units/text.h"

namespace fw::config {

namespace {

rig::Switch read_switch(const Field& field) {
  rig::Switch out;
  auto b = field.block("topic, on_payload and off_payload");
  if (!b) return out;
  put(out.topic, b->need("topic", "the topic it obeys"), [](const Field& f) { return f.topic(); });
  put(out.on_payload, b->need("on_payload", "the text that switches it on"), [](const Field& f) { return f.text(); });
  const auto off = b->need("off_payload", "the text that switches it off");
  put(out.off_payload, off, [](const Field& f) { return f.text(); });
  if (off && !out.off_payload.empty() && out.off_payload == out.on_payload) off->fault("is the same as on_payload");
  b->finish();
  return out;
}

void read_limit(const Field& field, rig::Charger& c) {
  auto b = field.block("topic and payload");
  if (!b) return;
  put(c.limit_topic, b->need("topic", "the topic that takes a current limit"), [](const Field& f) { return f.topic(); });
  if (const auto f = b->take("payload"))
    if (const auto text = f->text()) {
      if (text->find("{a}") == std::string::npos) f->fault("{a} is missing where the amperes belong");
      c.limit_payload = *text;
    }
  b->finish();
}

void read_served(const std::optional<Field>& field, const Field& entry, rig::Charger& c, Draft& draft) {
  std::vector<std::string> names;
  for (const auto& s : draft.rig.strings) names.push_back(s.name);
  if (field) {
    if (c.kind != rig::ChargerKind::solar) field->fault("only a solar charger serves strings");
    for (const Field& item : field->list("names of strings")) {
      const auto text = item.text();
      if (!text) continue;
      const auto found = std::find(names.begin(), names.end(), *text);
      if (found == names.end())
        item.fault("no string '" + printable(*text, 40) + "', " + suggestion(*text, names));
      else
        c.strings.push_back(static_cast<int>(found - names.begin()));
    }
    return;
  }
  if (c.kind != rig::ChargerKind::solar) return;
  const auto same = std::find(names.begin(), names.end(), c.name);
  if (same != names.end())
    c.strings.push_back(static_cast<int>(same - names.begin()));
  else if (names.size() == 1)
    c.strings.push_back(0);
  else
    entry.fault("strings is missing (the strings this charger serves)");
}

}  // namespace

void read_chargers(Block& top, Draft& draft) {
  const auto field = top.take("chargers");
  if (!field) return;
  for (const auto& [name_of, entry] : field->named("one block for each charger, by name")) {
    auto block = entry.block("kind, strings, rated_current, command, limit, reports");
    if (!block) continue;
    Block& b = *block;
    const int i = static_cast<int>(draft.rig.chargers.size());
    rig::Charger c;
    c.name = name_of;
    if (const auto f = b.need("kind", "solar, shore, alternator or other"))
      if (const auto k = f->choice({"solar", "shore", "alternator", "other"})) c.kind = static_cast<rig::ChargerKind>(*k);
    read_served(b.take("strings"), entry, c, draft);
    put(c.rated_a, b.need("rated_current", "bank side, for example 60 A"), [](const Field& f) { return f.quantity(Dimension::current, {0.1, 5000}); });
    if (const auto f = b.take("command")) c.command = read_switch(*f);
    if (const auto f = b.take("limit")) read_limit(*f, c);
    const auto stop = b.take("stop_by");
    if (stop) {
      if (const auto k = stop->choice({"limit", "off", "never"})) c.stop_by = static_cast<rig::StopBy>(*k);
      if (c.stop_by == rig::StopBy::limit && c.limit_topic.empty()) stop->fault("'limit' needs the block limit: topic and payload");
    } else if (c.kind == rig::ChargerKind::alternator && !c.limit_topic.empty()) {
      c.stop_by = rig::StopBy::limit;
    }
    if (c.kind == rig::ChargerKind::alternator && c.stop_by == rig::StopBy::off && c.command.configured())
      (stop ? *stop : entry).warning("an alternator switched off under load can be damaged unless its regulator allows it; 'limit' or 'never' is safer");
    put(c.stays_on_without_board, b.take("stays_on_without_board"), [](const Field& f) { return f.flag(); });
    put(c.confirm_within, b.take("confirm_within"), [](const Field& f) { return f.span(seconds{1}, minutes{10}); });
    if (const auto f = b.take("reports"))
      if (auto reports = f->block("the sources on, limit, current")) {
        for (const Quantity q : {Quantity::charger_on, Quantity::charger_limit, Quantity::charger_current})
          read_source(*reports, std::string{name(q)}, {q, i}, draft);
        reports->finish();
      }
    b.finish();
    draft.places["chargers." + name_of] = entry.place();
    draft.rig.chargers.push_back(std::move(c));
  }
}

void read_heaters(Block& top, Draft& draft) {
  const auto field = top.take("heaters");
  if (!field) return;
  for (const auto& [name_of, entry] : field->named("one block for each heater, by name")) {
    auto block = entry.block("command, rated_power, on_below, off_above, min_soc, reports");
    if (!block) continue;
    Block& b = *block;
    const int i = static_cast<int>(draft.rig.heaters.size());
    rig::Heater h;
    h.name = name_of;
    if (const auto f = b.need("command", "topic, on_payload and off_payload")) h.command = read_switch(*f);
    put(h.rated_w, b.need("rated_power", "for example 60 W"), [](const Field& f) { return f.quantity(Dimension::power, {0.1, 100000}); });
    const auto degrees = [](const Field& f) { return f.quantity(Dimension::temperature, {-60, 100}); };
    const auto on = b.take("on_below"), off = b.take("off_above");
    put(h.on_below_c, on, degrees);
    h.off_above_c = h.on_below_c + 2;
    put(h.off_above_c, off, degrees);
    if (off && h.off_above_c <= h.on_below_c) off->fault("must be above on_below");
    put(h.min_soc, b.take("min_soc"), [](const Field& f) { return f.quantity(Dimension::ratio, {0, 1}); });
    if (const auto f = b.take("reports"))
      if (auto reports = f->block("the source on")) {
        read_source(*reports, "on", {Quantity::heater_on, i}, draft);
        reports->finish();
      }
    b.finish();
    draft.places["heaters." + name_of] = entry.place();
    draft.rig.heaters.push_back(std::move(h));
  }
}

}  // namespace fw::config

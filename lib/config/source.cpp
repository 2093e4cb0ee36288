#include <algorithm>
#include <cmath>

#include "config/sections.h"
#include "rig/checks.h"
#include "units/text.h"

namespace fw::config {

namespace {

/// The text of a value in a table as the channel's number: a stage, a flag, or a number in the source's unit.
std::optional<double> meaning(const Field& field, Quantity q, const Unit* unit) {
  if (q == Quantity::stage) {
    const auto text = field.text();
    if (!text) return std::nullopt;
    if (const auto stage = stage_in(*text)) return static_cast<double>(*stage);
    field.fault("'" + printable(*text, 40) + "' is not a stage: off, bulk, absorption, float, equalize or inhibited");
    return std::nullopt;
  }
  if (is_flag(q)) {
    const auto text = field.text();
    if (!text) return std::nullopt;
    if (*text == "true" || *text == "on" || *text == "yes" || *text == "1") return 1.0;
    if (*text == "false" || *text == "off" || *text == "no" || *text == "0") return 0.0;
    field.fault("'" + printable(*text, 40) + "' is neither true nor false");
    return std::nullopt;
  }
  const auto v = field.number({-1e12, 1e12});
  if (!v) return std::nullopt;
  return (unit ? unit->to_canonical(*v) : *v) * channel_scale(q);
}

const Unit* read_unit(Block& b, Quantity q) {
  const Dimension wanted = dimension_of(q);
  if (wanted == Dimension::none) {
    if (const auto f = b.take("unit")) f->fault(std::string{name(q)} + " has no unit, leave it out");
    return nullptr;
  }
  const auto f = b.need("unit", std::string{examples(wanted)});
  const auto text = f ? f->text() : std::nullopt;
  if (!text) return nullptr;
  const Unit* unit = unit_named(*text == "C" && wanted == Dimension::temperature ? "degC" : std::string_view{*text});
  if (!unit) {
    const std::string_view near = unit_near(*text);
    f->fault("unit '" + printable(*text, 40) + "' is not known, " +
             (near.empty() ? "use " + std::string{examples(wanted)} : "did you mean '" + std::string{near} + "'?"));
    return nullptr;
  }
  if (unit->dimension != wanted) {
    f->fault("'" + *text + "' is a unit of " + std::string{name(unit->dimension)} + ", " + std::string{name(q)} + " is measured in " +
             std::string{examples(wanted)});
    return nullptr;
  }
  return unit;
}

}  // namespace

std::optional<rig::TimeForm> time_form(const Field& field) {
  const auto i = field.choice({"epoch_s", "epoch_ms", "iso", "local"});
  if (!i) return std::nullopt;
  constexpr rig::TimeForm forms[] = {rig::TimeForm::epoch_s, rig::TimeForm::epoch_ms, rig::TimeForm::iso, rig::TimeForm::local};
  return forms[*i];
}

void read_source(Block& block, const std::string& key, Channel channel, Draft& draft) {
  if (const auto f = block.take(key)) read_source(*f, channel, draft);
}

void read_source(const Field& field, Channel channel, Draft& draft) {
  draft.written.emplace(channel, Draft::Written{field.place(), field.path()});
  if (field.is_list()) {
    field.fault("two sources for one quantity, keep one");
    return;
  }
  auto block = field.block("a source with topic, pointer and unit");
  if (!block) return;
  Block& b = *block;
  const Quantity q = channel.quantity;
  rig::Source s;
  s.channel = channel;
  s.described_at = draft.report.where(field.place());

  if (const auto f = b.need("topic", "an MQTT topic, + and # allowed")) {
    const auto text = f->text();
    if (text && !rig::is_topic_filter(*text))
      f->fault("'" + printable(*text, 60) + "' is not a topic filter: + and # hold whole levels, # stands last");
    else if (text)
      s.topic = *text;
  }
  put(s.pointer, b.take("pointer"), [](const Field& f) { return f.pointer(); });
  const Unit* unit = read_unit(b, q);
  if (unit) s.unit = unit->text;

  const bool numeric = !is_flag(q) && q != Quantity::stage;
  for (const char* key : {"factor", "offset"})
    if (const auto f = b.take(key)) {
      if (!numeric)
        f->fault(std::string{name(q)} + " is no number, leave it out");
      else if (const auto v = f->number({-1e9, 1e9})) {
        if (std::string_view{key} == "factor" && *v == 0) f->fault("0 would make every value the same");
        (std::string_view{key} == "factor" ? s.factor : s.offset) = *v;
      }
    }
  if (const auto f = b.take("sign")) {
    const auto text = f->text();
    if (text && (*text == "-1" || *text == "-"))
      s.sign = -1;
    else if (text && *text != "1" && *text != "+1" && *text != "+")
      f->fault("'" + printable(*text, 20) + "' is neither 1 nor -1");
    else if (text && !numeric)
      f->fault(std::string{name(q)} + " is no number, leave it out");
  }

  if (const auto f = b.take("time"))
    if (auto time = f->block("the sender's own time, with pointer and form")) {
      put(s.time_pointer, time->need("pointer", "a JSON Pointer to the time"), [](const Field& t) { return t.pointer(); });
      put(s.time_form, time->need("form", "epoch_s, epoch_ms, iso or local"), [](const Field& t) { return time_form(t); });
      time->finish();
    }

  const bool cell = q == Quantity::cell_temperature;
  const auto age = cell ? b.need("max_age", "a cell temperature needs one: three times the sensor's longest silence, at most 15 min") : b.take("max_age");
  if (age)
    if (const auto span = age->span(seconds{1}, cell ? minutes{60} : minutes{24 * 60})) {
      s.max_age = *span;
      if (cell && *span > minutes{15}) age->warning("longer than 15 min; cells may be charged that long on an old temperature");
    }

  if (cell) put(s.unit_confirmed, b.take("unit_confirmed"), [](const Field& f) { return f.flag(); });

  if (const auto f = b.take("valid")) {
    const auto ends = f->list("the lowest and the highest value that can be");
    if (!ends.empty() && ends.size() != 2) f->fault("two values are wanted: the lowest and the highest that can be");
    if (!numeric) f->fault(std::string{name(q)} + " is no number, leave it out");
    if (ends.size() == 2 && numeric) {
      const double scale = channel_scale(q);
      const auto end = [&](const Field& e) -> std::optional<double> {
        const auto v = dimension_of(q) == Dimension::none ? e.number({-1e12, 1e12}) : e.quantity(dimension_of(q), {-1e12, 1e12}, unit ? unit->text : "");
        return v ? std::optional{*v * scale} : std::nullopt;
      };
      s.valid_from = end(ends[0]);
      s.valid_to = end(ends[1]);
      if (s.valid_from && s.valid_to && !(*s.valid_from < *s.valid_to)) f->fault("the first value must be below the second");
    }
  }
  if (const auto f = b.take("ignore"))
    for (const Field& item : f->list("raw values that mean 'no value'"))
      if (const auto v = item.number({-1e15, 1e15})) s.ignore.push_back(*v);
  if (const auto f = b.take("values"))
    for (const auto& [raw, field_of] : f->table("what the sender says, and what it means"))
      if (const auto v = meaning(field_of, q, unit)) s.values[raw] = *v;
  b.finish();

  draft.rig.sources.push_back(std::move(s));
}

}  // namespace fw::config

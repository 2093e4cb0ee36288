#include "config/sections.h"
#include "rig/checks.h"
#include "units/text.h"

namespace fw::config {

namespace {

std::optional<rig::ForecastSource::Column> read_column(Block& b, const std::string& key, Dimension dimension) {
  const auto field = b.take(key);
  auto block = field ? field->block("pointer and unit") : std::nullopt;
  if (!block) return std::nullopt;
  rig::ForecastSource::Column c;
  put(c.pointer, block->need("pointer", "a JSON Pointer"), [](const Field& f) { return f.pointer(); });
  if (const auto f = block->need("unit", std::string{examples(dimension)}))
    if (const auto text = f->text()) {
      const Unit* unit = unit_named(*text == "C" && dimension == Dimension::temperature ? "degC" : std::string_view{*text});
      if (!unit) {
        const std::string_view near = unit_near(*text);
        f->fault("unit '" + printable(*text, 40) + "' is not known, " +
                 (near.empty() ? "use " + std::string{examples(dimension)} : "did you mean '" + std::string{near} + "'?"));
      } else if (unit->dimension != dimension) {
        f->fault("'" + *text + "' is a unit of " + std::string{name(unit->dimension)} + ", " + key + " is measured in " +
                 std::string{examples(dimension)});
      } else {
        c.unit = unit->text;
      }
    }
  block->finish();
  return c;
}

}  // namespace

void read_forecast(Block& top, Draft& draft) {
  const auto field = top.take("forecast");
  auto block = field ? field->block("topic, layout, and where the columns are") : std::nullopt;
  if (!block) return;
  Block& b = *block;
  rig::ForecastSource s;
  if (const auto f = b.need("topic", "an MQTT topic"))
    if (const auto text = f->text()) {
      if (!rig::is_topic_filter(*text)) f->fault("'" + printable(*text, 60) + "' is not a topic filter: + and # hold whole levels, # stands last");
      s.topic = *text;
    }
  if (const auto f = b.need("layout", "rows or columns"))
    if (const auto k = f->choice({"rows", "columns"})) s.layout = static_cast<rig::ForecastLayout>(*k);
  const auto pointer = [](const Field& f) { return f.pointer(); };
  const bool rows = s.layout == rig::ForecastLayout::rows;
  const auto only_for = [](const std::optional<Field>& f, bool fits, const char* layout) {
    if (f && !fits) f->fault(std::string{"belongs to layout: "} + layout);
    return fits ? f : std::nullopt;
  };
  put(s.rows_pointer, only_for(b.take("rows"), rows, "rows"), pointer);
  put(s.time_pointer, rows ? b.need("time", "a JSON Pointer inside a row") : only_for(b.take("time"), false, "rows"), pointer);
  put(s.time_pointer, rows ? only_for(b.take("first"), false, "columns") : b.need("first", "a JSON Pointer to the time of the first value"), pointer);
  put(s.time_form, b.take("time_form"), [](const Field& f) { return time_form(f); });
  put(s.step, only_for(b.take("step"), !rows, "columns"), [](const Field& f) { return f.span(minutes{1}, hours{24}); });
  put(s.step_pointer, only_for(b.take("step_pointer"), !rows, "columns"), pointer);
  s.cloud = read_column(b, "cloud", Dimension::ratio);
  s.air_temperature = read_column(b, "air_temperature", Dimension::temperature);
  s.snowfall = read_column(b, "snowfall", Dimension::length);
  s.irradiance = read_column(b, "irradiance", Dimension::irradiance);
  s.wind = read_column(b, "wind", Dimension::speed);
  if (!s.cloud && !s.air_temperature && !s.snowfall && !s.irradiance) b.fault("holds nothing: cloud, air_temperature, snowfall or irradiance is wanted");
  b.finish();
  draft.rig.forecast = std::move(s);
}

}  // namespace fw::config

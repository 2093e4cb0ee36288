#include "intake/forecast_in.h"

#include <algorithm>
#include <array>

#include "intake/sender_time.h"
#include "units/text.h"
#include "units/unit_table.h"

namespace fw::intake {

namespace {
constexpr std::size_t most_hours = 400;
constexpr std::size_t most_points = 2000;
}  // namespace

ForecastReader::ForecastReader(const rig::ForecastSource& s)
    : layout_(s.layout), rows_(s.rows_pointer), time_(s.time_pointer), step_pointer_(s.step_pointer),
      has_step_pointer_(!s.step_pointer.empty()), form_(s.time_form), step_(s.step) {
  add(s.cloud, &ForecastHour::cloud, 1, 0, 1.001);
  add(s.air_temperature, &ForecastHour::air_c, 1, -90, 70);
  add(s.snowfall, &ForecastHour::snow_cm, 100, 0, 100);
  add(s.irradiance, &ForecastHour::irradiance_wm2, 1, 0, 1600);
  add(s.wind, &ForecastHour::wind_ms, 1, 0, 120);
}

void ForecastReader::add(const std::optional<rig::ForecastSource::Column>& column, std::optional<double> ForecastHour::*into,
                         double channel, double from, double to) {
  if (!column) return;
  Field f;
  f.pointer = JsonPointer{column->pointer};
  const Unit* unit = unit_named(column->unit);
  f.scale = (unit ? unit->factor : 1) * channel;
  f.shift = (unit ? unit->offset : 0) * channel;
  f.from = from;
  f.to = to;
  f.into = into;
  fields_.push_back(std::move(f));
}

void ForecastReader::put(const Field& field, const JsonNode* node, ForecastHour& into) {
  if (!node) return;
  std::optional<double> raw;
  if (node->kind == JsonNode::Kind::number) raw = node->number;
  if (node->kind == JsonNode::Kind::text) raw = number_in(node->text);
  if (!raw) return;
  const double value = *raw * field.scale + field.shift;
  if (value >= field.from && value <= field.to) into.*field.into = value;
}

std::optional<Forecast> ForecastReader::read(const FlatJson& json, const Words& zone, Now now, std::string& why) const {
  using Kind = JsonNode::Kind;
  std::vector<Point> points;
  Span step = step_;
  const auto& nodes = json.nodes();
  if (layout_ == rig::ForecastLayout::rows) {
    const JsonNode* rows = json.find(rows_);
    if (!rows || rows->kind != Kind::array) {
      why = "no array of forecast rows";
      return std::nullopt;
    }
    for (std::uint32_t i = json.index_of(rows) + 1; i < rows->next && points.size() < most_points; i = nodes[i].next) {
      const JsonNode* time = json.find(time_, i);
      const auto from = time ? time_in(*time, form_, zone, now.utc) : std::nullopt;
      if (!from) continue;
      Point p;
      p.from = *from;
      for (const Field& f : fields_) put(f, json.find(f.pointer, i), p.values);
      points.push_back(std::move(p));
    }
    std::stable_sort(points.begin(), points.end(), [](const Point& a, const Point& b) { return a.from < b.from; });
    std::vector<Span> gaps;
    for (std::size_t i = 1; i < points.size(); ++i)
      if (points[i].from > points[i - 1].from) gaps.push_back(points[i].from - points[i - 1].from);
    if (!gaps.empty()) {
      std::nth_element(gaps.begin(), gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2), gaps.end());
      step = gaps[gaps.size() / 2];
    }
  } else {
    const JsonNode* time = json.find(time_);
    const auto first = time ? time_in(*time, form_, zone, now.utc) : std::nullopt;
    if (!first) {
      why = "no time for the first hour of the forecast";
      return std::nullopt;
    }
    if (has_step_pointer_) {
      const JsonNode* n = json.find(step_pointer_);
      const auto seconds = !n ? std::nullopt : n->kind == Kind::number ? std::optional{n->number} : number_in(n->text);
      if (!seconds || !(*seconds >= 60 && *seconds <= 86400)) {
        why = "no usable step (60 to 86400 s) in the forecast";
        return std::nullopt;
      }
      step = Span{static_cast<std::int64_t>(*seconds * 1000 + 0.5)};
    }
    for (const Field& f : fields_) {
      const JsonNode* column = json.find(f.pointer);
      if (!column || column->kind != Kind::array) continue;
      std::size_t row = 0;
      for (std::uint32_t i = json.index_of(column) + 1; i < column->next && row < most_points; i = nodes[i].next, ++row) {
        if (row >= points.size()) points.push_back({*first + step * static_cast<std::int64_t>(row), {}});
        put(f, &nodes[i], points[row].values);
      }
    }
  }
  if (points.empty()) {
    why = "no row of the forecast has a time and a value";
    return std::nullopt;
  }
  Forecast forecast;
  forecast.received = now.at;
  forecast.rows = hourly(std::move(points), step);
  return forecast;
}

std::vector<ForecastHour> ForecastReader::hourly(std::vector<Point> points, Span step) {
  constexpr Span hour = hours{1};
  std::vector<ForecastHour> out;
  if (step >= hour) {
    const std::int64_t parts = std::max<std::int64_t>(1, (step + hour / 2) / hour);
    for (std::size_t i = 0; i < points.size(); ++i) {
      for (std::int64_t k = 0; k < parts && out.size() < most_hours; ++k) {
        ForecastHour h = points[i].values;
        h.from = points[i].from + hour * k;
        if (h.snow_cm) *h.snow_cm /= static_cast<double>(parts);
        if (k > 0 && i + 1 < points.size() && h.from >= points[i + 1].from) break;
        if (!out.empty() && h.from == out.back().from) out.pop_back();  // the same hour again: the later row counts
        out.push_back(h);
      }
    }
    return out;
  }
  constexpr std::optional<double> ForecastHour::*means[] = {&ForecastHour::cloud, &ForecastHour::air_c, &ForecastHour::irradiance_wm2,
                                                            &ForecastHour::wind_ms};
  for (std::size_t i = 0; i < points.size() && out.size() < most_hours;) {
    const Utc from = floor_to(points[i].from, hour);
    ForecastHour h;
    h.from = from;
    std::array<double, 4> sum{};
    std::array<int, 4> count{};
    for (; i < points.size() && points[i].from < from + hour; ++i) {
      const ForecastHour& v = points[i].values;
      for (std::size_t k = 0; k < sum.size(); ++k)
        if (const auto& x = v.*means[k]) {
          sum[k] += *x;
          ++count[k];
        }
      if (v.snow_cm) h.snow_cm = h.snow_cm.value_or(0) + *v.snow_cm;
    }
    for (std::size_t k = 0; k < sum.size(); ++k)
      if (count[k] > 0) h.*means[k] = sum[k] / count[k];
    out.push_back(h);
  }
  return out;
}

}  // namespace fw::intake

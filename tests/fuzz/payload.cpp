// A message's payload through the mapping of a rig that has one source of every kind. The first byte
// picks the topic.
#include <cmath>
#include <cstdint>
#include <cstdlib>

#include "intake/intake.h"

namespace {

using namespace fw;

rig::Rig everything() {
  rig::Rig r;
  r.name = "fuzz";
  r.strings.resize(2);
  r.bank.sensors.resize(2);
  const auto add = [&](Quantity q, int thing, const char* topic, const char* pointer, const char* unit) -> rig::Source& {
    rig::Source s;
    s.channel = {q, thing};
    s.topic = topic;
    s.pointer = pointer;
    s.unit = unit;
    r.sources.push_back(s);
    return r.sources.back();
  };
  add(Quantity::string_power, 0, "a", "/w", "W").valid_to = 5000;
  add(Quantity::string_voltage, 0, "a", "/v/0", "mV");
  auto& stage = add(Quantity::stage, 0, "a", "/mode", "");
  stage.values = {{"fill", 1}, {"hold", 3}, {"7", 0}, {"true", 2}};
  add(Quantity::soc, 0, "b", "", "%").ignore = {255, -1};
  auto& cell = add(Quantity::cell_temperature, 0, "c", "/cells/1", "degF");
  cell.time_pointer = "/at";
  cell.time_form = rig::TimeForm::local;
  auto& other = add(Quantity::cell_temperature, 1, "c", "/cells/0", "degC");
  other.time_pointer = "/at";
  other.time_form = rig::TimeForm::epoch_ms;
  rig::ForecastSource f;
  f.topic = "d";
  f.rows_pointer = "/hours";
  f.time_pointer = "/t";
  f.cloud = rig::ForecastSource::Column{"/cloud", "%"};
  f.air_temperature = rig::ForecastSource::Column{"/temp", "degC"};
  f.snowfall = rig::ForecastSource::Column{"/snow", "in"};
  r.forecast = f;
  r.site.timezone = "America/Denver";
  return r;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const rig::Rig rig = everything();
  if (size == 0) return 0;
  intake::Intake intake(rig);
  const char* const topics[] = {"a", "b", "c", "d"};
  const Elapsed at = elapsed_ms(1'768'230'000'000);
  for (int twice = 0; twice < 2; ++twice) {
    const Message m{at + seconds{twice}, topics[data[0] % 4], std::string(reinterpret_cast<const char*>(data) + 1, size - 1), false};
    const auto taken = intake.take(m, {m.at, utc_at(m.at, Span{0}), true});
    for (const auto& r : taken.readings)
      if (r.value && !std::isfinite(*r.value)) std::abort();
    if (taken.forecast)
      for (const auto& row : taken.forecast->rows)
        for (const auto& v : {row.cloud, row.air_c, row.snow_cm})
          if (v && !std::isfinite(*v)) std::abort();
  }
  return 0;
}

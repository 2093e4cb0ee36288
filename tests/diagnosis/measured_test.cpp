// Three measured winter days of nine combiners (source and licence in tests/data/measured-snow-nine-combiners):
// a dark overcast day, a mixed one, and the morning after a night's snowfall.
#include <doctest/doctest.h>

#include <cstdio>
#include <map>

#include "score/play.h"

using namespace fw;

namespace {

rig::Rig nine_combiners(bool irradiance) {
  rig::Rig r;
  r.name = "nine";
  r.site.latitude_deg = 42.5;
  r.site.longitude_deg = -72.5;
  r.site.altitude_m = 150;
  r.site.timezone = "Etc/GMT+5";
  r.has_bank = false;
  for (int i = 1; i <= 3; ++i)
    for (int c = 1; c <= 3; ++c) {
      rig::PvString s;
      s.name = "inv" + std::to_string(i) + "-cb" + std::to_string(c);
      s.module.stc_w = 340;
      s.module.v_oc_v = 46.786;
      s.module.v_mp_v = 37.885;
      s.series = 18;
      s.parallel = 4;
      s.tilt_deg = 35;
      s.azimuth_deg = 212;
      const int index = static_cast<int>(r.strings.size());
      for (const auto& [q, key] : {std::pair{Quantity::string_voltage, "/v"}, std::pair{Quantity::string_current, "/a"}}) {
        rig::Source source;
        source.channel = {q, index};
        source.topic = "array/" + s.name;
        source.pointer = key;
        source.unit = q == Quantity::string_voltage ? "V" : "A";
        source.max_age = minutes{40};
        r.sources.push_back(source);
      }
      r.strings.push_back(std::move(s));
    }
  rig::Source air;
  air.channel = {Quantity::air_temperature, 0};
  air.topic = "weather";
  air.pointer = "/air_c";
  air.unit = "degC";
  air.max_age = minutes{40};
  r.sources.push_back(air);
  if (irradiance) {
    rig::Source poa = air;
    poa.channel = {Quantity::irradiance, 0};
    poa.topic = "reference/poa";
    poa.pointer = "/wm2";
    poa.unit = "W/m2";
    r.sources.push_back(poa);
  }
  return r;
}

}  // namespace

TEST_CASE("the snow day of nine measured combiners is flagged and the ordinary days are not, with and without irradiance") {
  for (const bool irradiance : {false, true}) {
    CAPTURE(irradiance);
    const rig::Rig rig = nine_combiners(irradiance);
    const Words words = *Words::in_zone(rig.site.timezone, false);
    diagnosis::Diagnosis diagnosis(rig, words);
    auto reader = feed::Reader::open(std::string(FW_TESTS_DIR) + "/data/measured-snow-nine-combiners/feed.jsonl.gz");
    REQUIRE(reader.ok());
    std::map<std::string, std::map<std::string, int>> alerted;   // local date -> string -> minutes
    std::map<std::string, int> minutes_of;
    int lit = 0;
    const long messages = score::play(*reader, rig, diagnosis, [&](const score::Played& p) {
      ++minutes_of[words.local_date(p.minute.start)];
      lit += p.minute.irradiance_wm2.has_value();
      for (const Fact& f : p.diagnosis.facts({p.minute.at, p.minute.start, true}))
        if (f.alarm == "snow" && f.condition) ++alerted[words.local_date(p.minute.start)][f.subject];
    });
    std::printf("measured, %s irradiance: %ld messages; strings alerted on 5, 6, 7 January: %zu %zu %zu of 9\n", irradiance ? "with" : "without",
                messages, alerted["2022-01-05"].size(), alerted["2022-01-06"].size(), alerted["2022-01-07"].size());
    for (const char* day : {"2022-01-05", "2022-01-06", "2022-01-07"}) CHECK(minutes_of[day] > 600);
    CHECK((lit > 0) == irradiance);
    CHECK(alerted["2022-01-05"].empty());
    CHECK(alerted["2022-01-06"].empty());
    CHECK(alerted["2022-01-07"].size() >= 8);
  }
}

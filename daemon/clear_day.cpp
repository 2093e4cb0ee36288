#include "clear_day.h"

#include "roof/described.h"
#include "units/text.h"

namespace fw {

ClearDay clear_day(const Described& d, Utc day, Span step, double air_c) {
  const rig::Rig& rig = d.rig;
  ClearDay result;
  result.from = d.words.local_midnight(day);
  result.to = d.words.next_local_midnight(result.from);
  const sky::Site site = roof::site_of(rig.site, rig.site.latitude_deg, rig.site.longitude_deg);
  result.sun = sun::day_events(result.from, result.to - result.from, site.place);
  roof::Weather weather;
  weather.air_c = air_c;
  for (const auto& s : rig.strings)
    result.strings.push_back(roof::day_table(roof::string_model(s), site, result.from, result.to, step, weather, rig.site.albedo));
  return result;
}

std::string sun_sentence(const ClearDay& day, const Words& words) {
  const std::string high = fixed(day.sun.transit_elevation_deg, 0) + "° high at " + words.clock_exact(day.sun.transit);
  switch (day.sun.kind) {
    case sun::DayKind::sun_never_rises: return "The sun stays below the horizon all day";
    case sun::DayKind::sun_never_sets: return "The sun does not set, " + high;
    case sun::DayKind::normal: break;
  }
  return "Sun from " + (day.sun.sunrise ? words.clock_exact(*day.sun.sunrise) : "?") + " to " +
         (day.sun.sunset ? words.clock_exact(*day.sun.sunset) : "?") + ", " + high;
}

}  // namespace fw

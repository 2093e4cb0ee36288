#include <cmath>
#include <nlohmann/json.hpp>

#include "review/account.h"
#include "units/text.h"

namespace fw::review {

using namespace journal;
using Json = nlohmann::ordered_json;

namespace {

double rounded(double v, double per_unit) { return std::round(v * per_unit) / per_unit; }
Json maybe(std::optional<double> v, double per_unit) { return v ? Json(rounded(*v, per_unit)) : Json(nullptr); }

Json energies(const Energies& e) {
  const Split s = rounded_dwh(e.parts);
  Json j;
  const auto kwh = [](std::int64_t dwh) { return static_cast<double>(dwh) / 1e4; };
  j["made_kwh"] = kwh(s[made]);
  j["clear_sky_kwh"] = kwh(clear_sky(s));
  for (Part p : {cloud, journal::snow, soiling, shade, curtailed, cold, outage}) j["lost_" + std::string(name(p)) + "_kwh"] = kwh(s[p]);
  j["no_data_kwh"] = kwh(s[no_data]);
  j["unexplained_kwh"] = kwh(s[unexplained]);
  j["data_availability"] = maybe(e.data_availability(), 1e4);
  j["performance_index"] = maybe(e.performance_index(), 1e4);
  return j;
}

Json bank(const BankDay& b) {
  Json j;
  j["cell_min_c"] = maybe(b.cell_min_c, 100);
  j["cell_max_c"] = maybe(b.cell_max_c, 100);
  j["air_min_c"] = maybe(b.air_min_c, 100);
  j["air_max_c"] = maybe(b.air_max_c, 100);
  j["soc_low"] = maybe(b.soc_low, 1e4);
  j["soc_high"] = maybe(b.soc_high, 1e4);
  j["below_freezing_h"] = rounded(b.below_freezing_h, 100);
  j["below_floor_h"] = rounded(b.below_floor_h, 100);
  j["under_reserve_h"] = rounded(b.under_reserve_h, 100);
  j["no_permit_h"] = rounded(b.no_permit_h, 100);
  j["charged_below_limit_h"] = rounded(b.charged_below_limit_h, 100);
  j["charged_at_limit_h"] = rounded(b.charged_at_limit_h, 100);
  j["unknown_cell_h"] = rounded(b.unknown_cell_h, 100);
  j["untrusted_h"] = rounded(b.untrusted_h, 100);
  j["load_kwh"] = rounded(b.load_kwh, 1e4);
  return j;
}

}  // namespace

std::string json(const Account& a) {
  Json j;
  j["rig"] = a.about.rig;
  j["timezone"] = a.zone;
  j["from_utc"] = a.from ? Json(iso_utc(*a.from)) : Json(nullptr);
  j["to_utc"] = a.to ? Json(iso_utc(*a.to)) : Json(nullptr);
  j["total"] = energies(a.all);
  j["bank"] = bank(a.bank);
  j["strings"] = Json::object();
  for (const auto& [string, e] : a.strings) {
    Json s = energies(e);
    if (const double rated = a.rated_w(string); rated > 0) {
      const Yields y = yields(e, rated);
      s["rated_power_w"] = rated;
      s["reference_yield_h"] = rounded(y.reference_h, 100);
      s["final_yield_h"] = rounded(y.final_h, 100);
      s["performance_ratio"] = maybe(y.performance_ratio(), 1e4);
    }
    j["strings"][string] = s;
  }
  j["days"] = Json::array();
  for (const Day& d : a.days) {
    Json one;
    one["local_date"] = iso_day(d.date);
    one["total"] = energies(d.all);
    one["strings"] = Json::object();
    for (const auto& [string, e] : d.strings) one["strings"][string] = energies(e);
    one["bank"] = bank(d.bank);
    one["alarms_raised"] = d.alarms;
    one["clearing_advised"] = d.clearing_advised;
    one["clearings"] = Json::array();
    for (const Clearing& c : d.clearings)
      one["clearings"].push_back({{"utc", iso_utc(c.at)}, {"string", c.string}, {"text", c.text}, {"gain_kwh", maybe(c.gain_kwh, 1e4)}, {"seen_only", c.seen_only}});
    j["days"].push_back(one);
  }
  const auto stretches = [](const std::vector<Stretch>& from) {
    Json list = Json::array();
    for (const Stretch& s : from) {
      Json one;
      one["label"] = s.label;
      one["days"] = s.days;
      one.update(energies(s.all));
      list.push_back(one);
    }
    return list;
  };
  j["months"] = stretches(a.months);
  j["winters"] = stretches(a.winters);
  j["alarms"] = Json::object();
  for (const auto& [alarm, sum] : a.alarm_sums)
    j["alarms"][alarm] = {{"raised", sum.raised}, {"stood_h", rounded(sum.stood_h, 100)}, {"messages", sum.messages}};
  j["findings"] = Json::array();
  for (const Finding& f : a.findings) j["findings"].push_back({{"kind", f.kind}, {"text", f.text}});
  return j.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

}  // namespace fw::review

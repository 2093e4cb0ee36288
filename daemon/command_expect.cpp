// firnwatt expect: what each string could make under a clear sky.
#include <cstdio>
#include <iostream>

#include "clear_day.h"
#include "clocks.h"
#include "command.h"
#include "units/text.h"

namespace fw {
namespace {

struct ExpectAsked {
  std::string config, date, step = "15min", format = "table";
  double air_c = 5;
};

std::string padded(const std::string& text, std::size_t width) { return std::string(text.size() < width ? width - text.size() : 0, ' ') + text; }

void print_csv(const Described& d, const ClearDay& day, Span step) {
  std::cout << "utc,local,string,sun_elevation_deg,sun_azimuth_deg,poa_wm2,cell_c,v_mp_v,power_w,energy_kwh\r\n";
  for (std::size_t i = 0; i < day.strings.size(); ++i) {
    double wh = 0;
    for (const roof::DayRow& r : day.strings[i].rows) {
      wh += r.expected.limited_w * hours_of(step);
      std::cout << iso_utc(r.at) << "," << d.words.date_clock(r.at) << "," << d.rig.strings[i].name << "," << fixed(r.sky.sun.apparent_elevation_deg, 2)
                << "," << fixed(r.sky.sun.azimuth_deg, 2) << "," << fixed(r.expected.poa.global_wm2(), 1) << "," << fixed(r.expected.cell_c, 1) << ","
                << fixed(r.expected.v_mp_v, 2) << "," << fixed(r.expected.limited_w, 1) << "," << fixed(wh / 1000, 4) << "\r\n";
    }
  }
}

void print_table(const Described& d, const ClearDay& day, Span step) {
  std::cout << d.words.local_date(day.from) << "  " << sun_sentence(day, d.words) << "\n";
  for (std::size_t i = 0; i < day.strings.size(); ++i) {
    const rig::PvString& s = d.rig.strings[i];
    std::cout << "\n" << s.name << " (" << fixed(s.rated_w(), 0) << " W rated)\n"
              << " time   sun °   W/m2  cell °C   volts   watts     kWh\n";
    double wh = 0;
    for (const roof::DayRow& r : day.strings[i].rows) {
      wh += r.expected.limited_w * hours_of(step);
      if (r.sky.sun.apparent_elevation_deg < 0) continue;
      std::cout << d.words.clock_exact(r.at) << padded(fixed(r.sky.sun.apparent_elevation_deg, 1), 8) << padded(fixed(r.expected.poa.global_wm2(), 0), 7)
                << padded(fixed(r.expected.cell_c, 0), 9) << padded(fixed(r.expected.v_mp_v, 1), 8) << padded(fixed(r.expected.limited_w, 0), 8)
                << padded(fixed(wh / 1000, 2), 8) << "\n";
    }
    std::cout << "  the day: " << Words::energy(day.strings[i].energy_wh / 1000) << "\n";
  }
}

int expect(const ExpectAsked& a) {
  const auto d = described(a.config);
  if (!d) return unusable;
  Utc day = wall_time();
  if (!a.date.empty()) {
    const auto t = instant_in(a.date, d->words);
    if (!t) {
      std::cerr << "--date: '" << a.date << "' is no date; write 2026-01-12\n";
      return unusable;
    }
    day = *t;
  }
  const auto step = span_in(a.step);
  if (!step || *step < 1min || *step > 1h) {
    std::cerr << "--step: '" << a.step << "' is not between 1min and 1h\n";
    return unusable;
  }
  const ClearDay table = clear_day(*d, day, *step, a.air_c);
  if (a.format == "csv") print_csv(*d, table, *step);
  else print_table(*d, table, *step);
  return fine;
}

}  // namespace

void add_expect(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("expect", "What each string could make under a clear sky on a day");
  auto a = std::make_shared<ExpectAsked>();
  c->add_option("CONFIG", a->config, "The rig")->required();
  c->add_option("--date", a->date, "The local day, 2026-01-12; today without");
  c->add_option("--step", a->step, "From line to line, 1min to 1h")->capture_default_str();
  c->add_option("--format", a->format, "table or csv")->check(CLI::IsMember({"table", "csv"}))->capture_default_str();
  c->add_option("--air", a->air_c, "Air temperature in °C")->check(CLI::Range(-60.0, 60.0))->capture_default_str();
  c->footer("Clean glass, no clouds, the horizon of the config, within the controller's limits; nothing that was learned.");
  c->callback([a, &todo] { todo = [a] { return expect(*a); }; });
}

}  // namespace fw

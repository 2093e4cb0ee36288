#include "words/words.h"

#include <date/tz.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

#include "units/text.h"

namespace fw {

namespace {

struct Local {
  date::local_days day;
  int ms = 0;  ///< of the local day
};

using SysSeconds = date::sys_time<std::chrono::seconds>;

/// What holds in a zone at an instant. Most questions are about the same season as the one before.
const date::sys_info& info_at(const date::time_zone& zone, SysSeconds t) {
  thread_local const date::time_zone* of = nullptr;
  thread_local date::sys_info last;
  if (of != &zone || t < last.begin || t >= last.end) {
    last = zone.get_info(t);
    of = &zone;
  }
  return last;
}

Local local_of(const date::time_zone& zone, Utc t) {
  const date::sys_time<Span> at{t.time_since_epoch()};
  const date::local_time<Span> local{at.time_since_epoch() + info_at(zone, date::floor<std::chrono::seconds>(at)).offset};
  const auto day = date::floor<date::days>(local);
  return {day, static_cast<int>((local - day).count())};
}

Utc utc_of(const date::time_zone& zone, date::local_time<Span> local) {
  // far from any change of the clock there is only one instant
  const SysSeconds about{date::floor<std::chrono::seconds>(local.time_since_epoch())};
  const date::sys_info& here = info_at(zone, about);
  if (about - here.begin > date::days{2} && here.end - about > date::days{2}) return Utc{local.time_since_epoch() - here.offset};
  const date::local_info info = zone.get_info(local);
  if (info.result == date::local_info::nonexistent) return Utc{info.second.begin.time_since_epoch()};
  return Utc{(local.time_since_epoch() - info.first.offset)};
}

std::string hh_mm(int minute) {
  const int h = minute / 60 % 24, m = minute % 60;
  const auto digit = [](int d) { return static_cast<char>('0' + d); };
  return {digit(h / 10), digit(h % 10), ':', digit(m / 10), digit(m % 10)};
}

std::string ymd_text(date::local_days day) {
  const date::year_month_day ymd{day};
  char buf[16];
  std::snprintf(buf, sizeof buf, "%04d-%02u-%02u", static_cast<int>(ymd.year()), static_cast<unsigned>(ymd.month()),
                static_cast<unsigned>(ymd.day()));
  return buf;
}

std::string whole(double v) { return fixed(std::round(v), 0); }

}  // namespace

Result<Words> Words::in_zone(const std::string& zone, bool fahrenheit) {
  Words w;
  try {
    w.zone_ = date::locate_zone(zone);
  } catch (const std::exception&) {
    return Fault{"timezone", "'" + zone + "' is not a known time zone; write it like America/Denver or Europe/Oslo"};
  }
  w.fahrenheit_ = fahrenheit;
  return w;
}

std::string Words::clock(Utc t) const {
  return clock_exact(Utc{floor_to(t + std::chrono::minutes{2} + seconds{30}, std::chrono::minutes{5})});
}

std::string Words::clock_exact(Utc t) const { return hh_mm(local_of(*zone_, t).ms / 60000); }

std::string Words::day(Utc t) const {
  static constexpr std::array names{"Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"};
  return names[date::weekday{local_of(*zone_, t).day}.c_encoding()];
}

std::string Words::local_date(Utc t) const { return ymd_text(local_of(*zone_, t).day); }

std::string Words::date_clock(Utc t) const { return local_date(t) + " " + clock_exact(t); }

std::string Words::when(Utc t, Utc now) const {
  const auto apart = (local_of(*zone_, t).day - local_of(*zone_, now).day).count();
  const std::string at = clock(t);
  if (apart == 0) return at;
  if (apart == -1) return "yesterday " + at;
  if (apart == 1) return "tomorrow " + at;
  if (apart > -7 && apart < 7) return day(t) + " " + at;
  return local_date(t) + " " + at;
}

std::string Words::range(Utc from, Utc to) const { return clock(from) + " to " + clock(to); }

int Words::minute_of_day(Utc t) const { return local_of(*zone_, t).ms / 60000; }

Utc Words::local_midnight(Utc t) const { return utc_of(*zone_, local_of(*zone_, t).day); }

Utc Words::next_local_midnight(Utc t) const { return utc_of(*zone_, local_of(*zone_, t).day + date::days{1}); }

Utc Words::next_at(int minute, Utc t) const {
  const auto day = local_of(*zone_, t).day;
  for (int ahead = 0; ahead < 3; ++ahead) {
    const Utc at = utc_of(*zone_, day + date::days{ahead} + std::chrono::minutes{minute});
    if (at > t) return at;
  }
  return t + hours{24};
}

std::optional<Utc> Words::from_local(std::string_view iso_local, Utc near) const {
  std::string text{iso_local};
  if (text.size() == 10) text += "T00:00";
  const auto as_utc = utc_in(text + "Z");
  if (!as_utc) return std::nullopt;
  const date::local_time<Span> local{as_utc->time_since_epoch()};
  const date::local_info info = zone_->get_info(local);
  if (info.result == date::local_info::nonexistent) return std::nullopt;
  const Utc first{local.time_since_epoch() - info.first.offset};
  if (info.result == date::local_info::unique) return first;
  const Utc second{local.time_since_epoch() - info.second.offset};
  const auto gap = [&](Utc u) { return u > near ? u - near : near - u; };
  return gap(first) <= gap(second) ? first : second;
}

std::string Words::temperature(double c) const {
  return fahrenheit_ ? whole(c * 9 / 5 + 32) + " °F" : whole(c) + " °C";
}

std::string Words::temperature_difference(double k) const {
  return fahrenheit_ ? whole(k * 9 / 5) + " °F" : whole(k) + " °C";
}

namespace {
std::string watt_figure(double w) {
  if (std::fabs(w) < 99.5) return whole(w);
  return std::fabs(w) < 995 ? whole(w / 10) + "0" : whole(w / 100) + "00";
}
}  // namespace

std::string Words::watts(double w) { return watt_figure(w) + " W"; }

std::string Words::watts_of(double w, double of_w) { return watt_figure(w) + " of " + watt_figure(of_w) + " W"; }

std::string Words::energy(double kwh) {
  if (std::fabs(kwh) < 0.005) return "0 kWh";
  return (std::fabs(kwh) < 0.1 ? fixed(kwh, 2) : significant(kwh, 2)) + " kWh";
}

std::string Words::percent(double fraction) { return whole(fraction * 100) + " %"; }

std::string Words::amps(double a) { return std::fabs(a) < 9.95 ? fixed(a, 1) + " A" : whole(a) + " A"; }

std::string Words::volts(double v) { return std::fabs(v) < 19.95 ? fixed(v, 1) + " V" : whole(v) + " V"; }

std::string Words::span(Span s) {
  const auto total = std::chrono::round<std::chrono::minutes>(s).count();
  if (total < 60) return std::to_string(total) + " min";
  if (total < 10 * 60) {
    const auto rest = total % 60;
    return std::to_string(total / 60) + " h" + (rest >= 5 ? " " + std::to_string(rest) + " min" : "");
  }
  if (total < 48 * 60) return std::to_string((total + 30) / 60) + " h";
  return std::to_string((total + 720) / 1440) + " days";
}

std::string Words::depth(double cm) { return (cm < 0.95 ? significant(cm, 1) : whole(cm)) + " cm"; }

std::string_view Words::certainty(double confidence) {
  if (confidence >= 0.9) return "very probably";
  if (confidence >= 0.7) return "probably";
  if (confidence >= 0.5) return "perhaps";
  return "";
}

std::string Words::named(std::string name) {
  std::replace(name.begin(), name.end(), '_', ' ');
  return name;
}

std::string Words::capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

}  // namespace fw

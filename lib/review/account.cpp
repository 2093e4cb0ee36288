#include "review/account.h"

#include <algorithm>
#include <array>
#include <set>
#include <utility>

#include "review/findings.h"
#include "units/text.h"
#include "words/words.h"

namespace fw::review {

using journal::BankSample;
using journal::Part;
using journal::StringSample;

namespace {

constexpr double kwh_per_deciwatt_minute = 0.1 / 60 / 1000;
constexpr double worth_booking_kwh = 0.1;  // glass that came free by itself in the last light is no clearing
constexpr double charging_a = 0.5;
constexpr double limit_blur_k = 0.5;       // a row holds the coldest and the mean current of five minutes

void lower(std::optional<double>& a, std::optional<double> b) {
  if (b && (!a || *b < *a)) a = b;
}
void higher(std::optional<double>& a, std::optional<double> b) {
  if (b && (!a || *b > *a)) a = b;
}
std::optional<double> scaled(std::optional<std::int64_t> v, double unit) {
  return v ? std::optional{static_cast<double>(*v) * unit} : std::nullopt;
}
std::optional<float> point(std::optional<std::int64_t> v, double unit) {
  return v ? std::optional{static_cast<float>(static_cast<double>(*v) * unit)} : std::nullopt;
}

/// The rig-local day of ascending instants, with few look-ups in the zone tables.
class LocalDays {
 public:
  explicit LocalDays(const Words& words) : words_(words) {}
  int date(Utc t) {
    if (t < from_ || t >= to_) {
      from_ = words_.local_midnight(t);
      to_ = words_.next_local_midnight(t);
      date_ = journal::day_in(words_.local_date(t)).value_or(0);
    }
    return date_;
  }
  Utc midnight() const { return from_; }

 private:
  const Words& words_;
  Utc from_{}, to_{};
  int date_ = 0;
};

std::string month_of(int date) { return journal::iso_day(date).substr(0, 7); }

/// The darker half of the year: October to March, named by both years, or April to September south of the equator.
std::optional<std::string> winter_of(int date, bool southern) {
  const std::chrono::year_month_day day{std::chrono::sys_days{days{date}}};
  const bool mild = day.month() >= std::chrono::April && day.month() <= std::chrono::September;
  if (mild != southern) return std::nullopt;
  if (southern) return std::to_string(static_cast<int>(day.year()));
  const int year = static_cast<int>(day.year()) - (day.month() < std::chrono::April ? 1 : 0);
  std::string next = std::to_string((year + 1) % 100);
  if (next.size() < 2) next.insert(0, 1, '0');
  return std::to_string(year) + '/' + next;
}

void add_to(std::vector<Stretch>& stretches, const std::string& label, const Day& day) {
  if (stretches.empty() || stretches.back().label != label) {
    stretches.emplace_back();
    stretches.back().label = label;
  }
  stretches.back().days += day.all.light_minutes > 0;
  stretches.back().all.add(day.all);
}

void add_bank(BankDay& b, const BankSample& r, const journal::About& about) {
  const double h = r.minutes / 60.0;
  const auto cell = scaled(r.cell_min_cc, 0.01);
  lower(b.cell_min_c, cell);
  higher(b.cell_max_c, scaled(r.cell_max_cc, 0.01));
  lower(b.air_min_c, scaled(r.air_cc, 0.01));
  higher(b.air_max_c, scaled(r.air_cc, 0.01));
  lower(b.soc_low, scaled(r.soc_bp, 1e-4));
  higher(b.soc_high, scaled(r.soc_bp, 1e-4));
  b.hours += h;
  if (!cell) b.unknown_cell_h += h;
  if (!r.trusted) b.untrusted_h += h;
  if (cell) {
    if (*cell < 0) b.below_freezing_h += h;
    if (*cell < floor_of(about)) b.below_floor_h += h;
    const double over_limit_k = *cell - about.lower_limit_c.value_or(0);
    if (over_limit_k <= 0 && r.current_ma && static_cast<double>(*r.current_ma) > charging_a * 1000)
      (over_limit_k < -limit_blur_k ? b.charged_below_limit_h : b.charged_at_limit_h) += h;
  }
  if (r.soc_bp && *scaled(r.soc_bp, 1e-4) < reserve_of(about)) b.under_reserve_h += h;
  if (r.permit && *r.permit == 0) b.no_permit_h += h;
  if (r.load_dw) b.load_kwh += static_cast<double>(*r.load_dw) * 1e-4 * h;
}

void join(BankDay& all, const BankDay& b) {
  lower(all.cell_min_c, b.cell_min_c);
  higher(all.cell_max_c, b.cell_max_c);
  lower(all.air_min_c, b.air_min_c);
  higher(all.air_max_c, b.air_max_c);
  lower(all.soc_low, b.soc_low);
  higher(all.soc_high, b.soc_high);
  all.below_freezing_h += b.below_freezing_h;
  all.below_floor_h += b.below_floor_h;
  all.under_reserve_h += b.under_reserve_h;
  all.no_permit_h += b.no_permit_h;
  all.charged_below_limit_h += b.charged_below_limit_h;
  all.charged_at_limit_h += b.charged_at_limit_h;
  all.load_kwh += b.load_kwh;
  all.hours += b.hours;
  all.unknown_cell_h += b.unknown_cell_h;
  all.untrusted_h += b.untrusted_h;
}

/// One that the period found standing is counted from its first word in it; what stood at the end, to the end.
std::map<std::string, AlarmSum> alarm_sums(const std::vector<AlarmRow>& rows, std::optional<Utc> end) {
  std::map<std::string, AlarmSum> sums;
  std::map<std::string, std::pair<std::set<std::string>, Utc>> standing;  // by alarm: subjects, since
  const auto close = [&](const std::string& alarm, Utc at) { sums[alarm].stood_h += std::max(0.0, hours_of(at - standing[alarm].second)); };
  for (const AlarmRow& r : rows) {
    if (r.event == "raised") ++sums[r.alarm].raised;
    if (r.event == "notified") ++sums[r.alarm].messages;
    auto& [subjects, since] = standing[r.alarm];
    if (r.event == "raised" || r.event == "re_raised" || r.event == "unsuppressed" || r.event == "escalated") {
      if (subjects.empty()) since = r.when.utc;
      subjects.insert(r.subject);
    } else if ((r.event == "cleared" || r.event == "suppressed") && subjects.erase(r.subject) && subjects.empty()) {
      close(r.alarm, r.when.utc);
    }
  }
  if (end)
    for (const auto& [alarm, of] : standing)
      if (!of.first.empty()) close(alarm, *end);
  return sums;
}

bool covers(const NoteRow& note, const std::string& string) { return note.event == "panels_cleared" && (note.string.empty() || note.string == string); }

/// What a clearing brought: power after it, until the string is cleared again or the day ends, beyond the share of
/// clear sky that was made in the hour before.
std::optional<double> gain_of(const Account& a, const NoteRow& note, Utc day_end) {
  const Utc at = note.when.utc;
  double gain_wh = 0;
  bool known = false;
  for (const auto& [name, samples] : a.samples) {
    if (!covers(note, name)) continue;
    Utc end = day_end;
    for (const NoteRow& later : a.notes)
      if (later.when.utc > at && covers(later, name)) end = std::min(end, later.when.utc);
    double before_w = 0, before_clear_w = 0;
    for (const Sample& s : samples)
      if (s.measured && s.utc >= at - hours{1} && s.utc < at) before_w += s.power_w, before_clear_w += s.clear_sky_w;
    if (before_clear_w < 1) continue;
    const double share = before_w / before_clear_w;
    for (const Sample& s : samples)
      if (s.measured && s.utc >= at && s.utc < end) gain_wh += (s.power_w - share * s.clear_sky_w) / 12, known = true;
  }
  return known ? std::optional{gain_wh / 1000} : std::nullopt;
}

}  // namespace

void Energies::add(const Energies& o) {
  for (std::size_t i = 0; i < parts.size(); ++i) parts[i] += o.parts[i];
  minutes += o.minutes;
  light_minutes += o.light_minutes;
  light_live += o.light_live;
}
double Energies::kwh(Part p) const { return static_cast<double>(parts[static_cast<std::size_t>(p)]) * kwh_per_deciwatt_minute; }
double Energies::clear_sky_kwh() const { return static_cast<double>(journal::clear_sky(parts)) * kwh_per_deciwatt_minute; }
std::optional<double> Energies::data_availability() const {
  if (light_minutes == 0) return std::nullopt;
  return static_cast<double>(light_live) / static_cast<double>(light_minutes);
}
std::optional<double> Energies::performance_index() const {
  const double could = clear_sky_kwh() - kwh(journal::cloud) - kwh(journal::curtailed) - kwh(journal::cold) - kwh(journal::no_data);
  if (could < 0.01) return std::nullopt;
  return kwh(journal::made) / could;
}

std::optional<double> Yields::performance_ratio() const {
  if (reference_h <= 0) return std::nullopt;
  return final_h / reference_h;
}

Yields yields(const Energies& e, double rated_w) {
  if (rated_w <= 0) return {};
  return {e.clear_sky_kwh() * 1000 / rated_w, e.kwh(journal::made) * 1000 / rated_w};
}

double Account::rated_w(const std::string& string) const {
  for (const auto& s : about.strings)
    if (s.name == string) return s.rated_w.value_or(0);
  return 0;
}

std::string Account::zone_words() const {
  return zone == about.timezone ? "local time " + zone : "times in " + zone + ", for the rig's zone '" + about.timezone + "' is not known here";
}

int Account::days_of_light() const {
  return static_cast<int>(std::count_if(days.begin(), days.end(), [](const Day& d) { return d.all.light_minutes > 0; }));
}

Result<Account> account(const journal::Reader& journal, const Options& options) {
  if (options.from && options.to && *options.from >= *options.to)
    return Fault{"", "the period is empty: from " + iso_utc(*options.from) + " is not before to " + iso_utc(*options.to)};
  Account a;
  a.about = journal.about();
  auto words = Words::in_zone(a.about.timezone, a.about.fahrenheit);
  if (words) a.zone = a.about.timezone;
  else words = Words::in_zone("UTC", a.about.fahrenheit);
  if (!words) return words.fault();
  journal::Period period{options.from, options.to};
  if (period.from) period.from = words->local_midnight(*period.from);
  if (period.to && words->local_midnight(*period.to) != *period.to) period.to = words->next_local_midnight(*period.to);
  a.widened = period.from != options.from || period.to != options.to;

  std::map<int, Day> days;
  auto energy = journal.energy(period);
  if (!energy) return energy.fault();
  for (const auto& e : *energy) {
    Day& day = days[e.date];
    const Energies one{e.split, e.minutes, e.light_minutes, e.light_live};
    day.strings[journal.name(e.string)].add(one);
    day.all.add(one);
  }

  const auto seen = [&](Utc t, int minutes) {
    if (!a.from || t < *a.from) a.from = t;
    if (!a.to || t + std::chrono::minutes{minutes} > *a.to) a.to = t + std::chrono::minutes{minutes};
  };
  LocalDays local(*words);
  auto r = journal.each_five(period, [&](const StringSample& f) {
    const Utc t = journal::utc_of_minute(f.minute);
    seen(t, 5);
    const std::string& string = journal.name(f.string);
    const auto clear_w = static_cast<float>(f.clear_sky_w());
    const int date = local.date(t);
    if (f.reason != 0) a.reasons.try_emplace(f.reason, journal.name(f.reason));
    a.samples[string].push_back({t, f.measured_dw ? static_cast<float>(*f.measured_dw) / 10 : 0, clear_w,
                                 static_cast<float>(f.expected_dw) / 10, f.measured_dw.has_value(), f.cause, f.reason});
    if (f.split[journal::shade] != 0) {
      const auto half_hour = std::clamp<std::int64_t>((t - local.midnight()) / minutes{30}, 0, 47);
      a.shade_by_half_hour[string][static_cast<std::size_t>(half_hour)] += f.split[journal::shade];
    }
    if (f.cause == Cause::outage && clear_w > 0) {
      Outage& o = a.outages.try_emplace(string, Outage{0, 0, date, date}).first->second;
      (journal.name(f.reason) == "half lost" ? o.half_h : o.dead_h) += f.minutes / 60.0;
      o.first = std::min(o.first, date);
      o.last = std::max(o.last, date);
    }
    if (f.split[journal::curtailed] != 0)
      days[date].held_kwh[journal.name(f.reason)] += static_cast<double>(f.split[journal::curtailed]) * kwh_per_deciwatt_minute;
    // Light enough to compare: a fifth of the rating, or 20 W where it is not known.
    if ((f.cause == Cause::clear || f.cause == Cause::soiling) && f.measured_dw && clear_w > std::max(20.0, 0.2 * a.rated_w(string))) {
      ClearShare& c = a.clear_shares[string][month_of(date)];
      c.measured_wh += static_cast<double>(*f.measured_dw) / 10 * f.minutes / 60;
      const std::int64_t taken = f.split[journal::shade] + f.split[journal::snow] + f.split[journal::curtailed] + f.split[journal::cold];
      c.possible_wh += static_cast<double>(clear_w) * f.minutes / 60 - static_cast<double>(taken) * (1000 * kwh_per_deciwatt_minute);
      c.hours += f.minutes / 60.0;
    }
  });
  if (!r) return r.fault();
  r = journal.each_bank(period, 5, [&](const BankSample& f) {
    const Utc t = journal::utc_of_minute(f.minute);
    seen(t, 5);
    add_bank(days[local.date(t)].bank, f, a.about);
    BankPoint p{t, point(f.cell_min_cc, 0.01), point(f.cell_max_cc, 0.01), point(f.air_cc, 0.01), point(f.soc_bp, 1e-4), std::nullopt};
    if (f.permit) p.permit = *f.permit != 0;
    a.bank_points.push_back(p);
  });
  if (!r) return r.fault();

  const auto take = [](auto rows, auto& into) -> Result<void> {
    if (!rows) return rows.fault();
    into = std::move(rows).value();
    return {};
  };
  if (r = take(journal.alarms(period), a.alarms); !r) return r.fault();
  if (r = take(journal.notices(period), a.notices); !r) return r.fault();
  if (r = take(journal.advice(period), a.advice); !r) return r.fault();
  if (r = take(journal.notes(period), a.notes); !r) return r.fault();
  if (r = take(journal.events(period), a.events); !r) return r.fault();

  a.alarm_sums = alarm_sums(a.alarms, a.to);
  for (const AlarmRow& alarm : a.alarms)
    if (alarm.event == "raised") ++days[local.date(alarm.when.utc)].alarms;
  for (const NoteRow& n : a.notes)
    if (n.event == "panels_cleared") {
      Day& day = days[local.date(n.when.utc)];
      day.clearings.push_back({n.when.utc, n.string, n.text, gain_of(a, n, words->next_local_midnight(n.when.utc))});
    }

  for (const AdviceRow& row : a.advice)
    if (row.kind == "clearing" && row.outcome.empty() && row.best_from && row.gain_kwh.value_or(0) >= worth_of(a.about))
      if (const auto day = days.find(local.date(*row.best_from)); day != days.end()) day->second.clearing_advised = true;
  for (const AdviceRow& row : a.advice) {
    if (row.kind != "clearing" || !row.outcome.starts_with("done: brought") || !row.best_from || row.gain_kwh.value_or(0) < worth_booking_kwh) continue;
    Day& day = days[local.date(*row.best_from)];
    if (day.clearings.empty()) day.clearings.push_back({*row.best_from, "", row.text, row.gain_kwh, true});
  }

  for (auto& [date, day] : days) {
    day.date = date;
    a.all.add(day.all);
    for (const auto& [string, e] : day.strings) a.strings[string].add(e);
    join(a.bank, day.bank);
    add_to(a.months, month_of(date), day);
    if (const auto winter = winter_of(date, a.about.southern)) add_to(a.winters, *winter, day);
    a.days.push_back(std::move(day));
  }
  a.findings = findings(a, *words);
  return a;
}

}  // namespace fw::review

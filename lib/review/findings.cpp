#include "review/findings.h"

#include <algorithm>
#include <cmath>

#include "review/shade_times.h"
#include "units/text.h"

namespace fw::review {

using namespace journal;

namespace {

/// What is worth a line: so much, and so much of what a clear sky would have given.
constexpr double least_kwh = 0.1, least_share = 0.003, least_shade_share = 0.01, least_outage_share = 0.001;
constexpr double a_day_kwh = 0.05;         ///< a day with less of it does not count
constexpr double few_minutes_h = 0.2;      ///< of charging under the limit: two five-minute rows may be one wrong reading
constexpr double short_of_charge_h = 6;    ///< under the reserve: from there on it comes before all energies
constexpr double an_hour_short = 0.5;      ///< shorter than that each hour ranks like so many kWh
/// Ranks beyond any energy.
constexpr double harm_rank = 1e6, short_rank = 1e5;

std::string days_words(int n) { return n == 1 ? "1 day" : std::to_string(n) + " days"; }
std::string times_words(int n) { return n == 1 ? "once" : n == 2 ? "twice" : std::to_string(n) + " times"; }
/// Hundreds of hours say little: what they come to in days stands beside them.
std::string hours_words(double h) {
  if (h < 0.95) return fixed(h * 60, 0) + " min";
  if (h < 9.95) return fixed(h, 1) + " h";
  return fixed(h, 0) + " h" + (h < 99.5 ? "" : " (" + fixed(h / 24, 0) + " days)");
}
class Findings {
 public:
  Findings(const Account& a, const Words& words) : a_(a), words_(words) {}

  std::vector<Finding> all() {
    snow();
    clearings();
    full();
    cold();
    film();
    shade();
    outage();
    no_data();
    unexplained_part();
    reserve();
    clock();
    winters();
    worth();
    std::stable_sort(found_.begin(), found_.end(), [](const auto& x, const auto& y) { return x.first > y.first; });
    std::vector<Finding> sorted;
    for (auto& [weight, f] : found_) sorted.push_back(std::move(f));
    return sorted;
  }

 private:
  void say(double rank, std::string kind, std::string text) { found_.emplace_back(rank, Finding{std::move(kind), std::move(text)}); }

  bool worth_a_line(double kwh) const { return kwh >= std::max(least_kwh, least_share * a_.all.clear_sky_kwh()); }
  int days_over(Part p) const {
    return static_cast<int>(std::count_if(a_.days.begin(), a_.days.end(), [&](const Day& d) { return d.all.kwh(p) >= a_day_kwh; }));
  }
  static std::string string_words(const std::string& name) { return Words::named(name) + " string"; }

  /// "15 January"; with the year where the review spans more than one winter.
  std::string date_words(int date) const {
    const std::string iso = iso_day(date);
    const bool years = a_.days.back().date - a_.days.front().date > 300;
    const std::string day = iso.substr(8);
    return (day[0] == '0' ? day.substr(1) : day) + ' ' + month_words(iso.substr(0, 7)) + (years ? ' ' + iso.substr(0, 4) : "");
  }
  void snow() {
    const double cost = a_.all.kwh(journal::snow);
    if (!worth_a_line(cost)) return;
    int bright = 0, full_anyway = 0;
    double on_bright = 0;
    for (const Day& d : a_.days) {
      const double k = d.all.kwh(journal::snow);
      if (k < worth_of(a_.about) || d.all.kwh(cloud) > 0.4 * d.all.clear_sky_kwh()) continue;
      // what snow takes from a bank that fills up all the same is not missed
      if (!d.room() && d.all.kwh(curtailed) >= a_day_kwh) {
        ++full_anyway;
        continue;
      }
      ++bright;
      on_bright += k;
    }
    std::string text = "Snow cost " + energy_words(cost) + " on " + days_words(days_over(journal::snow));
    if (bright == 0 && full_anyway == 0) text += "; no day was bright enough for clearing to pay";
    else if (bright > 0 && on_bright > cost * 0.97) text += ", nearly all of it on " + days_words(bright) + " bright enough for clearing to pay";
    else if (bright > 0) text += "; " + energy_words(on_bright) + " of it on " + days_words(bright) + " bright enough for clearing to pay";
    if (full_anyway > 0)
      text += (bright > 0 ? "; on " + std::to_string(full_anyway) + " more" : "; on " + days_words(full_anyway) + " bright enough") + " the bank got full all the same";
    say(cost, "snow", text + '.');
  }

  void clearings() {
    int count = 0, known = 0, seen = 0, advised = 0;
    double gain = 0;
    const Clearing* only = nullptr;
    int on = 0;
    for (const Day& d : a_.days) {
      advised += d.clearing_advised && d.all.kwh(journal::snow) >= a_day_kwh;
      for (const Clearing& c : d.clearings) {
        ++count;
        only = &c;
        on = d.date;
        seen += c.seen_only;
        if (c.gain_kwh) gain += *c.gain_kwh, ++known;
      }
    }
    std::string text;
    if (count == 1) {
      text = (only->string.empty() ? "Panels" : Words::capital(string_words(only->string))) +
             (seen ? " came free, swept or slid, on " : only->string.empty() ? " were cleared on " : " was cleared on ") + date_words(on) + " at " + words_.clock(only->at);
      text += !known ? "; what it brought cannot be told." : "; it brought " + (gain < a_day_kwh ? "next to nothing" : "about " + energy_words(gain)) + " that day.";
    } else if (count > 1) {
      text = std::string(seen == count ? "Panels came free, swept or slid, " : seen > 0 ? "Panels were cleared or came free " : "Panels were cleared ") + times_words(count);
      if (known == 0) text += "; what it brought cannot be told.";
      else if (known == count) text += "; it brought about " + energy_words(gain) + " on the same days.";
      else text += "; it brought about " + energy_words(gain) + " as far as can be told (" + std::to_string(known) + " of " + std::to_string(count) + ").";
    }
    if (advised > 0) text += (text.empty() ? "" : " ") + std::string("Clearing was advised for ") + days_words(advised) + " with snow on the glass.";
    if (!text.empty()) say(std::max(gain, 0.05), "clearings", text);
  }

  void full() {
    // Held back with room in the bank is no surplus.
    double k = 0, held = 0, fullest = 0;
    int n = 0, held_days = 0;
    std::map<std::string, double> why;
    for (const Day& d : a_.days) {
      const double kwh = d.all.kwh(curtailed);
      if (d.room() && too_cold(d)) continue;   // told with the cold
      (d.room() ? held : k) += kwh;
      if (kwh >= a_day_kwh) ++(d.room() ? held_days : n);
      if (!d.room()) continue;
      if (kwh >= a_day_kwh) fullest = std::max(fullest, *d.bank.soc_high);
      for (const auto& [reason, of] : d.held_kwh) why[reason] += of;
    }
    if (worth_a_line(k))
      say(k, "curtailed",
          "A full bank left " + energy_words(k) + " unused on " + days_words(n) + (n > 1 ? ", about " + energy_words(k / n) + " a day" : "") + ": time to heat water, warm the cabin or charge something.");
    if (!worth_a_line(held)) return;
    const auto most = std::max_element(why.begin(), why.end(), [](const auto& x, const auto& y) { return x.second < y.second; });
    const std::string reason = most != why.end() && most->second > 0.6 * held ? most->first : "";
    say(held, "held_back",
        "Charging was held back on " + days_words(held_days) + " with room in the bank (at most " + Words::percent(fullest) + "): " + energy_words(held) +
            " not taken. " +
            (reason == "bank refuses charge"            ? "The battery itself refused it: ask its own guard why."
             : reason == "bank full"                    ? "The controllers took it for full: look at their settings, and at the reading of its charge."
             : reason == "over-voltage stop"            ? "A controller stopped because its string's voltage was too high: have the wiring looked at by someone qualified."
             : reason == "bank has switched itself off" ? "The battery had switched itself off."
                                                        : "Look at what the battery or the controllers were waiting for."));
  }

  double lower_limit_c() const { return a_.about.lower_limit_c.value_or(0); }
  bool too_cold(const Day& d) const { return d.bank.cell_min_c && *d.bank.cell_min_c <= lower_limit_c(); }

  void cold() {
    const BankDay& b = a_.bank;
    double k = a_.all.kwh(journal::cold), perhaps = 0, coldest = lower_limit_c();
    int perhaps_days = 0;
    // A sensor that was not believed, or a guard of the battery's own, leaves the reason open; the day's cells do not.
    for (const Day& d : a_.days) {
      if (!d.room() || !too_cold(d) || d.all.kwh(curtailed) < a_day_kwh) continue;
      perhaps += d.all.kwh(curtailed);
      coldest = std::min(coldest, *d.bank.cell_min_c);
      ++perhaps_days;
    }
    const bool more = worth_a_line(perhaps);
    if (worth_a_line(k) || more || b.no_permit_h >= 1) {
      const std::string lost = energy_words(k) + " of sun was lost to the cold on " + days_words(days_over(journal::cold));
      // Without a charger of ours the bank or the controllers held off by themselves, and nobody counted the hours.
      std::string text = b.no_permit_h >= 0.05 ? "Charging was held off for " + hours_words(b.no_permit_h) : "The bank was too cold to take charge";
      if (k >= a_day_kwh) text += "; " + lost;
      if (more)
        text += "; " + std::string(k >= a_day_kwh ? "probably another " : "probably ") + energy_words(perhaps) + " on " + days_words(perhaps_days) +
                ", when charge was held back with cells down to " + words_.temperature(coldest);
      text += ".";
      if (k + perhaps >= 2) text += " Heat for the bank before sunrise would have kept part of it.";
      say(k + perhaps, "cold", text);
    }
    const bool harm = b.charged_below_limit_h >= few_minutes_h;
    if (b.cell_min_c && (harm || b.below_floor_h >= 0.45)) {
      const std::string limit = words_.temperature(lower_limit_c());
      std::string text = "The bank was under " + words_.temperature(floor_of(a_.about)) + " for " + hours_words(b.below_floor_h) + ", " +
                         words_.temperature(*b.cell_min_c) + " at the coldest";
      const double charged_h = b.charged_below_limit_h + b.charged_at_limit_h;
      if (harm) text += "; it was charged for " + hours_words(charged_h) + " at or under " + limit + ". That harms the cells: find out what charged it.";
      else if (charged_h > 0) text += "; it was charged for " + hours_words(charged_h) + " at or just under " + limit + ", never for long below.";
      else text += ", never charged at or under " + limit + ".";
      if (b.unknown_cell_h >= 1) text += " For " + hours_words(b.unknown_cell_h) + " more nobody knows how cold it was.";
      say(harm ? harm_rank : 0.3, "bank_cold", text);
    }
  }

  void film() {
    for (const auto& [string, e] : a_.strings) {
      const double k = e.kwh(soiling);
      const std::string costs = worth_a_line(k) ? "film on the glass cost it " + energy_words(k) : "";
      const auto less = less_than_before(string);
      if (!less && costs.empty()) continue;
      std::string text = Words::capital(string_words(string));
      if (less) text += *less + (costs.empty() ? ": film on the glass?" : "; " + costs + '.');
      else text = "Film on the glass cost " + string_words(string) + ' ' + energy_words(k) + '.';
      // what lies there now, and is missed by a bank with room, is worth the climb
      if (const double week = film_of_the_last_week(string); week >= 2 * worth_of(a_.about))
        text += " In the last week alone " + energy_words(week) + ": cleaning looks worth it, mind the ladder.";
      say(std::max(0.2, k), "film", text);
    }
  }
  double film_of_the_last_week(const std::string& string) const {
    double k = 0;
    int n = 0;
    for (auto d = a_.days.rbegin(); d != a_.days.rend() && n < 7; ++d) {
      const auto e = d->strings.find(string);
      if (d->all.light_minutes == 0 || e == d->strings.end()) continue;
      ++n;
      if (d->room() || d->all.kwh(curtailed) < a_day_kwh) k += e->second.kwh(soiling);
    }
    return k;
  }
  /// " made 4 % less in February than in January while the sky was clear"
  std::optional<std::string> less_than_before(const std::string& string) const {
    const auto of = a_.clear_shares.find(string);
    if (of == a_.clear_shares.end()) return std::nullopt;
    std::vector<std::pair<std::string, double>> shares;
    for (const auto& [month, c] : of->second)
      if (c.hours >= 5 && c.possible_wh > 0) shares.emplace_back(month, c.measured_wh / c.possible_wh);
    if (shares.size() < 2) return std::nullopt;
    const auto best = std::max_element(shares.begin(), shares.end() - 1, [](const auto& x, const auto& y) { return x.second < y.second; });
    const double less = 1 - shares.back().second / best->second;
    if (less < 0.03) return std::nullopt;
    // a year apart the month alone does not tell which
    const bool years = shares.back().first.substr(0, 4) != best->first.substr(0, 4) && shares.back().first.substr(5) >= best->first.substr(5);
    const auto month = [&](const std::string& m) { return month_words(m) + (years ? ' ' + m.substr(0, 4) : ""); };
    return " made " + fixed(less * 100, 0) + " % less in " + month(shares.back().first) + " than in " + month(best->first) + " while the sky was clear";
  }

  /// Strings that the same surroundings shade at the same hours share a sentence.
  void shade() {
    std::map<std::string, std::vector<std::pair<double, std::string>>> strings_by_times;
    for (const auto& [string, e] : a_.strings) {
      const double k = e.kwh(journal::shade);
      const auto times = a_.shade_by_half_hour.find(string);
      if (k < std::max(least_kwh, least_shade_share * e.clear_sky_kwh()) || times == a_.shade_by_half_hour.end()) continue;
      strings_by_times[shade_times(times->second)].emplace_back(-k, string);
    }
    for (auto& [times, strings] : strings_by_times) {
      std::sort(strings.begin(), strings.end());
      double sum = 0;
      std::string list;
      for (std::size_t i = 0; i < strings.size(); ++i) {
        const double k = -strings[i].first;
        sum += k;
        list += (i == 0 ? "" : i + 1 == strings.size() ? " and " : ", ") + string_words(strings[i].second) + ' ' + energy_words(k);
      }
      if (strings.size() > 3) list = std::to_string(strings.size()) + " strings " + energy_words(sum);
      say(sum, "shade", "Shade cost " + list + times);
    }
  }

  void outage() {
    for (const auto& [string, o] : a_.outages) {
      const auto of = a_.strings.find(string);
      const double h = o.dead_h + o.half_h, k = of == a_.strings.end() ? 0 : of->second.kwh(journal::outage);
      if (h < 0.5 || k < std::max(a_day_kwh, least_outage_share * of->second.clear_sky_kwh())) continue;
      const bool half = o.half_h > o.dead_h;
      std::string text = Words::capital(string_words(string)) + (half ? " made half of what it should for " : " was out for ") + hours_words(h) + " of daylight, " +
                         (o.first == o.last ? "on " : "between ") + date_words(o.first) + (o.first == o.last ? "" : " and " + date_words(o.last)) + ": " + energy_words(k) + " lost.";
      if (half) text += " A plug, fuse or branch may be loose: have it looked at by someone qualified.";
      say(k, "outage", text);
    }
  }

  void no_data() {
    const double k = a_.all.kwh(journal::no_data);
    const auto available = a_.all.data_availability();
    if (!worth_a_line(k) || !available) return;
    std::string where;
    if (a_.strings.size() > 1)
      for (const auto& [string, e] : a_.strings)
        if (e.kwh(journal::no_data) > 0.9 * k) where = string_words(string);
    const auto most = std::max_element(a_.days.begin(), a_.days.end(), [](const Day& x, const Day& y) { return x.all.kwh(journal::no_data) < y.all.kwh(journal::no_data); });
    if (a_.days.size() > 1 && most->all.kwh(journal::no_data) > 0.5 * k) where += (where.empty() ? "mostly on " : ", mostly on ") + date_words(most->date);
    const std::string text = "Telemetry was there for " + fixed(*available * 100, 1) + " % of the daylight; for " + energy_words(k) +
                             " of clear sky nobody knows what became of it" + (where.empty() ? "" : ": " + where) + '.';
    say(k, "no_data", text);
  }

  void unexplained_part() {
    const double k = a_.all.kwh(unexplained), clear = a_.all.clear_sky_kwh();
    if (clear < 1 || std::fabs(k) < 0.05 * clear) return;
    say(std::fabs(k), "unexplained",
        energy_words(std::fabs(k)) + (k > 0 ? " (" : " more than explained (") + fixed(std::fabs(k) / clear * 100, 0) +
            " % of clear sky)" + (k > 0 ? " could not be put down to any cause" : "") + ": the description of the roof may be off.");
  }

  void reserve() {
    const BankDay& b = a_.bank;
    if (b.under_reserve_h < 0.05) return;
    const auto lowest = std::min_element(a_.days.begin(), a_.days.end(), [](const Day& x, const Day& y) { return x.bank.soc_low.value_or(2) < y.bank.soc_low.value_or(2); });
    const auto n = static_cast<int>(std::count_if(a_.days.begin(), a_.days.end(), [](const Day& d) { return d.bank.under_reserve_h > 0; }));
    const bool low = b.under_reserve_h >= short_of_charge_h || *b.soc_low < reserve_of(a_.about) / 2;
    const std::string hours = b.under_reserve_h < 9.95 ? hours_words(b.under_reserve_h) : fixed(b.under_reserve_h, 0) + " h";
    say(low ? short_rank : an_hour_short * b.under_reserve_h, "reserve",
        "The bank was under its reserve of " + Words::percent(reserve_of(a_.about)) + " for " + hours + " on " + (n == 1 ? date_words(lowest->date) : days_words(n)) +
            ", " + Words::percent(*b.soc_low) + " at the lowest" + (n > 1 ? " (" + date_words(lowest->date) + ")" : "") + '.');
  }

  void clock() {
    if (const double h = a_.bank.untrusted_h; h >= 0.5)
      say(0.3, "clock", "For " + hours_words(h) + " the board's clock was not to be believed: strings were not judged, and what stands there may lie on another day.");
  }

  void winters() {
    if (a_.winters.size() < 2) return;
    const Stretch &before = a_.winters[a_.winters.size() - 2], &now = a_.winters.back();
    if (before.days < 30 || now.days < 30) return;
    const double was = before.a_day(before.all.kwh(made)), is = now.a_day(now.all.kwh(made));
    say(0.2, "winters",
        "Winter " + now.label + " made " + energy_words(is) + " a day over " + days_words(now.days) + ", " + before.label + " " +
            energy_words(was) + " over " + days_words(before.days) + ". Snow cost " + energy_words(now.a_day(now.all.kwh(journal::snow))) + " a day against " +
            energy_words(before.a_day(before.all.kwh(journal::snow))) + ".");
  }

  void worth() {
    if (!a_.about.price_per_kwh) return;
    const auto money = [&](double kwh) {
      const double v = kwh * *a_.about.price_per_kwh;
      int decimals = v >= 99.5 ? 0 : 2;
      for (double small = 0.1; v > 0 && v < small && decimals < 8; small /= 10) ++decimals;  // a unit worth much
      const std::string sum = fixed(v, decimals);
      return a_.about.currency.empty() ? sum : sum + ' ' + a_.about.currency;
    };
    std::string text = "What the roof made would have cost " + money(a_.all.kwh(made)) + " elsewhere";
    if (const double k = a_.all.kwh(journal::snow); worth_a_line(k)) text += "; the snow took " + money(k);
    say(0, "worth", text + ".");
  }

  static std::string month_words(const std::string& month) {
    static constexpr const char* names[] = {"January", "February", "March",     "April",   "May",      "June",
                                            "July",    "August",   "September", "October", "November", "December"};
    const auto n = number_in(month.substr(5));
    return n && *n >= 1 && *n <= 12 ? names[static_cast<int>(*n) - 1] : month;
  }

  const Account& a_;
  const Words& words_;
  std::vector<std::pair<double, Finding>> found_;
};

}  // namespace

std::string energy_words(double kwh) {
  const double size = std::fabs(kwh);
  return fixed(kwh, size >= 99.95 ? 0 : size >= 0.995 ? 1 : 2) + " kWh";
}

std::vector<Finding> findings(const Account& a, const Words& words) { return Findings(a, words).all(); }

}  // namespace fw::review

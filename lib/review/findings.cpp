#include "review/findings.h"

#include <algorithm>
#include <cmath>

#include "units/text.h"

namespace fw::review {

using namespace journal;

namespace {

constexpr double worth_a_line_kwh = 0.1;
/// A day's snow loss from which clearing is worth the ladder for most; the advice has the owner's own figure.
constexpr double worth_clearing_kwh = 0.5;

std::string days_words(int n) { return n == 1 ? "1 day" : std::to_string(n) + " days"; }
std::string times_words(int n) { return n == 1 ? "once" : n == 2 ? "twice" : std::to_string(n) + " times"; }
/// Hundreds of hours say little: what they come to in days stands beside them.
std::string hours_words(double h) {
  if (h < 0.95) return fixed(h * 60, 0) + " min";
  if (h < 9.95) return fixed(h, 1) + " h";
  return fixed(h, 0) + " h" + (h < 99.5 ? "" : " (" + fixed(h / 24, 0) + " days)");
}
constexpr double nearly_full = 0.95;

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
    winters();
    worth();
    std::stable_sort(found_.begin(), found_.end(), [](const auto& x, const auto& y) { return x.first > y.first; });
    std::vector<Finding> sorted;
    for (auto& [weight, f] : found_) sorted.push_back(std::move(f));
    return sorted;
  }

 private:
  void say(double kwh, std::string kind, std::string text) { found_.emplace_back(kwh, Finding{std::move(kind), std::move(text)}); }

  int days_over(Part p, double kwh) const {
    return static_cast<int>(std::count_if(a_.days.begin(), a_.days.end(), [&](const Day& d) { return d.all.kwh(p) >= kwh; }));
  }

  void snow() {
    const double cost = a_.all.kwh(journal::snow);
    if (cost < worth_a_line_kwh) return;
    int bright = 0;
    double on_bright = 0;
    for (const Day& d : a_.days) {
      const double k = d.all.kwh(journal::snow);
      if (k < worth_clearing_kwh || d.all.kwh(cloud) > 0.4 * d.all.clear_sky_kwh()) continue;
      ++bright;
      on_bright += k;
    }
    std::string text = "Snow cost " + energy_words(cost) + " on " + days_words(days_over(journal::snow, 0.05));
    if (bright == 0) text += "; no day was bright enough for clearing to pay.";
    else if (on_bright > cost * 0.97) text += ", nearly all of it on " + days_words(bright) + " bright enough for clearing to pay.";
    else text += "; " + energy_words(on_bright) + " of it on " + days_words(bright) + " bright enough for clearing to pay.";
    say(cost, "snow", text);
  }

  void clearings() {
    int count = 0, known = 0, seen = 0;
    double gain = 0;
    for (const Day& d : a_.days)
      for (const Clearing& c : d.clearings) {
        ++count;
        seen += c.seen_only;
        if (c.gain_kwh) gain += *c.gain_kwh, ++known;
      }
    if (count == 0) return;
    std::string text = std::string(seen == count ? "Panels came free, swept or slid, " : seen > 0 ? "Panels were cleared or came free " : "Panels were cleared ") + times_words(count);
    if (known == 0) text += "; what it brought cannot be told.";
    else if (known == count) text += "; it brought about " + energy_words(gain) + " on the same days.";
    else text += "; it brought about " + energy_words(gain) + " as far as can be told (" + std::to_string(known) + " of " + std::to_string(count) + ").";
    say(std::max(gain, 0.05), "clearings", text);
  }

  void full() {
    // Held back with room in the bank is no surplus.
    double k = 0, held = 0, fullest = 0;
    int n = 0, held_days = 0;
    for (const Day& d : a_.days) {
      const double kwh = d.all.kwh(curtailed);
      const bool room = d.bank.soc_high && *d.bank.soc_high < nearly_full;
      (room ? held : k) += kwh;
      if (kwh >= 0.05) ++(room ? held_days : n);
      if (room && kwh >= 0.05) fullest = std::max(fullest, *d.bank.soc_high);
    }
    if (k >= worth_a_line_kwh)
      say(k, "curtailed",
          "A full bank left " + energy_words(k) + " unused on " + days_words(n) + ", about " + energy_words(k / std::max(1, n)) +
              " a day: time to heat water, warm the cabin or charge something.");
    if (held >= worth_a_line_kwh)
      say(held, "held_back",
          "Charging was held back on " + days_words(held_days) + " with room in the bank (at most " + Words::percent(fullest) + "): " + energy_words(held) +
              " not taken. Look at what the battery or the controllers were waiting for.");
  }

  void cold() {
    const BankDay& b = a_.bank;
    const double k = a_.all.kwh(journal::cold);
    if (k >= worth_a_line_kwh || b.no_permit_h >= 1) {
      const std::string lost = energy_words(k) + " of sun was lost to the cold on " + days_words(days_over(journal::cold, 0.05));
      // Without a charger of ours the bank or the controllers held off by themselves, and nobody counted the hours.
      std::string text = b.no_permit_h >= 0.05 ? "Charging was held off for " + hours_words(b.no_permit_h) + (k >= 0.05 ? "; " + lost : "")
                                               : "The bank was too cold to take charge; " + lost;
      text += ".";
      if (k >= 2) text += " Heat for the bank before sunrise would have kept part of it.";
      say(k, "cold", text);
    }
    if (b.cell_min_c && b.below_floor_h >= 0.5) {
      const double floor = a_.about.preferred_floor_c.value_or(5);
      std::string text = "The bank was under " + words_.temperature(floor) + " for " + hours_words(b.below_floor_h) + ", " +
                         words_.temperature(*b.cell_min_c) + " at the coldest";
      if (b.charged_below_limit_h > 0)
        text += "; it was charged for " + hours_words(b.charged_below_limit_h) + " at or under " +
                words_.temperature(a_.about.lower_limit_c.value_or(0)) + ". That harms the cells: find out what charged it.";
      else text += ", never charged at or under " + words_.temperature(a_.about.lower_limit_c.value_or(0)) + ".";
      say(b.charged_below_limit_h > 0 ? 1e6 : 0.3, "bank_cold", text);
    }
  }

  void film() {
    for (const auto& [string, months] : a_.clear_shares) {
      std::vector<std::pair<std::string, double>> shares;
      for (const auto& [month, c] : months)
        if (c.hours >= 5 && c.clear_sky_wh > 0) shares.emplace_back(month, c.measured_wh / c.clear_sky_wh);
      if (shares.size() < 2) continue;
      const auto best = std::max_element(shares.begin(), shares.end() - 1, [](const auto& x, const auto& y) { return x.second < y.second; });
      const double less = 1 - shares.back().second / best->second;
      if (less < 0.03) continue;
      // a year apart the month alone does not tell which
      const bool years = shares.back().first.substr(0, 4) != best->first.substr(0, 4) && shares.back().first.substr(5) >= best->first.substr(5);
      const auto month = [&](const std::string& m) { return month_words(m) + (years ? ' ' + m.substr(0, 4) : ""); };
      say(std::max(0.2, a_.strings.at(string).kwh(soiling)), "film",
          Words::capital(Words::named(string)) + " string made " + fixed(less * 100, 0) + " % less in " + month(shares.back().first) + " than in " +
              month(best->first) + " while the sky was clear: film on the glass?");
    }
  }

  using HalfHours = std::array<std::int64_t, 48>;
  /// The narrowest stretch between two half hours that holds four fifths of what lies between them.
  static std::pair<std::size_t, std::size_t> narrowest(const HalfHours& h, std::size_t first, std::size_t last) {
    std::int64_t total = 0;
    for (std::size_t i = first; i < last; ++i) total += h[i];
    std::size_t from = first, to = last;
    for (std::size_t i = first; i < last; ++i) {
      std::int64_t sum = 0;
      for (std::size_t j = i; j < last; ++j) {
        sum += h[j];
        if (sum * 5 >= total * 4) {
          if (j + 1 - i < to - from) from = i, to = j + 1;
          break;
        }
      }
    }
    return {from, to};
  }

  void shade() {
    for (const auto& [string, e] : a_.strings) {
      const double k = e.kwh(journal::shade);
      if (k < worth_a_line_kwh) continue;
      std::string text = "Shade cost " + Words::named(string) + " string " + energy_words(k);
      if (const auto it = a_.shade_by_half_hour.find(string); it != a_.shade_by_half_hour.end()) {
        // The narrowest stretch of the day that holds four fifths of it; a wide one is two, with little between.
        const auto& h = it->second;
        const std::size_t noon = h.size() / 2;
        const auto [from, to] = narrowest(h, 0, h.size());
        if (to - from <= 8) {
          text += ", most of it between " + half_hour_words(from) + " and " + half_hour_words(to) + ". Turning or moving the rig a little may win it back";
        } else {
          const auto morning = narrowest(h, 0, noon), evening = narrowest(h, noon, h.size());
          text += ", early and late in the day: most before " + half_hour_words(morning.second) + " and after " + half_hour_words(evening.first) +
                  ". What stands around takes it; a more open place would win it back";
        }
      }
      say(k, "shade", text + ".");
    }
  }

  void outage() {
    for (const auto& [string, h] : a_.outage_h) {
      const double k = a_.strings.count(string) ? a_.strings.at(string).kwh(journal::outage) : 0;
      if (h < 0.5 || k < 0.05) continue;
      say(k, "outage", Words::capital(Words::named(string)) + " string was out for " + hours_words(h) + " of daylight: " + energy_words(k) + " lost.");
    }
  }

  void no_data() {
    const double k = a_.all.kwh(journal::no_data);
    const auto available = a_.all.data_availability();
    if (k < worth_a_line_kwh || !available) return;
    say(k, "no_data",
        "Telemetry was there for " + fixed(*available * 100, 1) + " % of the daylight; for " + energy_words(k) + " of clear sky nobody knows what became of it.");
  }

  void unexplained_part() {
    const double k = a_.all.kwh(unexplained), clear = a_.all.clear_sky_kwh();
    if (clear < 1 || std::fabs(k) < 0.05 * clear) return;
    say(std::fabs(k), "unexplained",
        energy_words(std::fabs(k)) + (k > 0 ? " (" : " more than explained (") + fixed(std::fabs(k) / clear * 100, 0) +
            " % of clear sky)" + (k > 0 ? " could not be put down to any cause" : "") + ": the description of the roof may be off.");
  }

  void reserve() {
    if (a_.bank.under_reserve_h == 0) return;
    say(0.25, "reserve",
        "The bank was under its reserve of " + Words::percent(reserve_of(a_.about)) + " for " + hours_words(a_.bank.under_reserve_h) + ", " + Words::percent(*a_.bank.soc_low) +
            " at the lowest.");
  }

  void winters() {
    if (a_.winters.size() < 2) return;
    const Stretch &before = a_.winters[a_.winters.size() - 2], &now = a_.winters.back();
    if (before.days < 30 || now.days < 30) return;
    const double was = before.all.kwh(made) / before.days, is = now.all.kwh(made) / now.days;
    say(0.2, "winters",
        "Winter " + now.label + " made " + energy_words(is) + " a day over " + days_words(now.days) + ", " + before.label + " " +
            energy_words(was) + " over " + days_words(before.days) + ". Snow cost " + energy_words(now.all.kwh(journal::snow) / now.days) + " a day against " +
            energy_words(before.all.kwh(journal::snow) / before.days) + ".");
  }

  void worth() {
    if (!a_.about.price_per_kwh) return;
    const auto money = [&](double kwh) {
      const std::string sum = fixed(kwh * *a_.about.price_per_kwh, 2);
      return a_.about.currency.empty() ? sum : sum + ' ' + a_.about.currency;
    };
    std::string text = "What the roof made would have cost " + money(a_.all.kwh(made)) + " elsewhere";
    if (const double k = a_.all.kwh(journal::snow); k >= worth_a_line_kwh) text += "; the snow took " + money(k);
    say(0, "worth", text + ".");
  }

  static std::string half_hour_words(std::size_t n) {
    std::string h = std::to_string(n / 2);
    if (h.size() < 2) h.insert(0, 1, '0');
    return h + (n % 2 ? ":30" : ":00");
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

#include "score/generated/label.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "units/text.h"

namespace fw::score {

namespace {

enum Named { clear, cloud, snow, soiling, shade, curtailed, outage, stale, frost, dark, names_count };
constexpr const char* names[] = {"clear", "cloud", "snow", "soiling", "shade", "curtailed", "outage", "stale", "frost", "dark"};

struct Sums {
  double clear_w = 0, available_w = 0, shaded = 0, snowy = 0, filmed = 0, rimed = 0, potential = 0, actual = 0;
  double snow_loss = 0, film = 0, rime = 0, depth = 0, cover = 0, el = 0;
  int held = 0, live = 0, outage = 0, refused = 0;
};

double log_loss(double after, double before) {
  if (before <= 0) return 0;
  return -std::log(std::clamp(after / before, 1e-3, 1.0));
}

struct Judged {
  Named cause = clear;
  std::vector<Named> also;
};

/// What takes most, on a logarithmic scale; a cloud counts for less beside snow, which is what one would want to know.
Judged judge(const Sums& s) {
  constexpr double least[names_count] = {0, 0.10, 0.10, 0.08, 0.12, 0.09, 0, 0, 0.10, 0};
  constexpr double mention[names_count] = {0, 0.02, 0.05, 0.03, 0.06, 0.04, 1, 1, 0.05, 1};
  double loss[names_count] = {}, part[names_count] = {};
  loss[cloud] = log_loss(s.available_w, s.clear_w);
  loss[shade] = log_loss(s.shaded, s.available_w);
  loss[snow] = log_loss(s.snowy, s.shaded);
  loss[soiling] = log_loss(s.filmed, s.snowy);
  loss[frost] = log_loss(s.rimed, s.filmed);
  loss[curtailed] = log_loss(s.actual, s.potential);
  for (int i = 0; i < names_count; ++i) part[i] = 1 - std::exp(-loss[i]);
  double weight[names_count];
  for (int i = 0; i < names_count; ++i) weight[i] = loss[i];
  if (part[snow] >= least[snow]) weight[cloud] /= 1.5;
  Judged j;
  double best = 0;
  for (const Named n : {cloud, snow, soiling, shade, frost, curtailed})
    if (part[n] >= least[n] && weight[n] > best) {
      best = weight[n];
      j.cause = n;
    }
  for (const Named n : {cloud, snow, soiling, shade, frost, curtailed}) {
    if (n == j.cause) continue;
    if (j.cause == clear ? part[n] >= mention[n] : part[n] >= least[n] * 0.8 && weight[n] >= 0.45 * best) j.also.push_back(n);
  }
  if (j.cause != clear && part[j.cause] < 1.4 * least[j.cause]) {
    bool alone = true;
    for (const Named n : {cloud, snow, soiling, shade, frost, curtailed}) alone &= n == j.cause || part[n] < least[n];
    if (alone) j.also.push_back(clear);
  }
  return j;
}

}  // namespace

std::string iso_of(long long unix_s) { return iso_utc(utc_ms(unix_s * 1000)); }

std::string truth_csv(const World& w) {
  std::string out =
      "utc,string,cause,also,sun_el,true_clear_power_w,true_available_w,actual_w,snow_depth_cm,snow_cover_fraction,snow_loss_fraction,"
      "soiling_loss_fraction,frost_loss_fraction,shade_factor,curtailed,telemetry_live\n";
  struct Before {
    Named cause[2] = {dark, dark};
    int stale_for = 0;
  };
  std::vector<Before> before(w.strings.size());
  for (std::size_t n = 0; n + 5 <= w.sun_el.size(); n += 5)
    for (std::size_t i = 0; i < w.strings.size(); ++i) {
      Sums s;
      for (std::size_t k = n; k < n + 5; ++k) {
        const StringTruth& t = w.strings[i][k];
        s.clear_w += t.clear_w / 5;
        s.available_w += t.available_w / 5;
        s.shaded += t.shaded_w / 5;
        s.snowy += t.snowy_w / 5;
        s.filmed += t.filmed_w / 5;
        s.rimed += t.rimed_w / 5;
        s.potential += t.potential_w / 5;
        s.actual += t.actual_w / 5;
        s.snow_loss += t.snow_loss / 5;
        s.film += t.film / 5;
        s.rime += t.rime / 5;
        s.depth += t.depth_cm / 5;
        s.cover += t.cover / 5;
        s.el += w.sun_el[k] / 5;
        s.held += t.held;
        s.live += t.live;
        s.outage += t.outage;
        s.refused += !w.bank[k].permitted;
      }
      Judged j = judge(s);
      const bool lit = s.el > 3 && s.clear_w > 15;
      if (s.outage >= 3) {
        // Besides the outage, what the rest of the string would show.
        std::vector<Named> also;
        if (j.cause == cloud || std::find(j.also.begin(), j.also.end(), cloud) != j.also.end()) also.push_back(cloud);
        if (j.cause == snow && s.snow_loss > 0.6) also.push_back(snow);
        j = {outage, also};
      }
      // Where the bank takes nothing, that alone would do.
      if (s.refused >= 3 && j.cause != curtailed && j.cause != clear && j.cause != cloud && std::find(j.also.begin(), j.also.end(), curtailed) == j.also.end())
        j.also.push_back(curtailed);
      const Named seen = j.cause;
      if (s.live < 3) {
        // What else holds is fair to name; 'clear' only until the silence could be known.
        std::vector<Named> also = j.also;
        also.push_back(j.cause);
        if (++before[i].stale_for > (w.strings[i][n + 2].frozen ? 6 : 2)) std::erase(also, clear);
        j = {stale, also};
      } else {
        before[i].stale_for = 0;
      }
      if (j.cause == frost) j.also = {clear, cloud, shade, snow, soiling};
      else if (lit)
        for (const Named b : before[i].cause)
          if (b != j.cause && b != dark && b != frost && b != stale && std::find(j.also.begin(), j.also.end(), b) == j.also.end() &&
              (b == cloud || j.cause == cloud || j.cause == stale))
            j.also.push_back(b);
      before[i].cause[1] = before[i].cause[0];
      before[i].cause[0] = lit ? seen : dark;
      if (!lit) {
        j.also = {j.cause};
        j.cause = dark;
      }
      std::sort(j.also.begin(), j.also.end(), [](Named a, Named b) { return std::string(names[a]) < names[b]; });
      std::string also;
      for (const Named a : j.also) also += (also.empty() ? "" : "|") + std::string(names[a]);
      out += iso_of(w.scene.start_unix_s + static_cast<long long>(n) * 60) + "," + w.scene.strings[i].id + "," + names[j.cause] + "," + also + "," +
             fixed(s.el, 1) + "," + fixed(s.clear_w, 1) + "," + fixed(s.available_w, 1) + "," + fixed(s.actual, 1) + "," + fixed(s.depth, 1) + "," +
             fixed(s.cover, 2) + "," + fixed(s.snow_loss, 2) + "," + fixed(s.film, 3) + "," + fixed(s.rime, 2) + "," +
             fixed(s.available_w > 1 ? std::clamp(s.shaded / s.available_w, 0.0, 1.0) : 1.0, 2) + "," + (s.held >= 3 ? "1" : "0") + "," +
             (s.live >= 3 ? "1" : "0") + "\n";
    }
  return out;
}

std::string truth_bank_csv(const World& w) {
  std::string out = "utc,cell_temp_c,soc_fraction,charge_permitted_physically,ambient_c,cabin_c,load_w\n";
  for (std::size_t n = 0; n < w.bank.size(); ++n) {
    const BankTruth& b = w.bank[n];
    out += iso_of(w.scene.start_unix_s + static_cast<long long>(n) * 60) + "," + fixed(b.cell_c, 2) + "," + fixed(b.soc, 3) + "," + (b.permitted ? "1," : "0,") +
           fixed(w.weather[n].air_c, 1) + "," + fixed(b.cabin_c, 1) + "," + fixed(b.load_w, 0) + "\n";
  }
  return out;
}

std::string truth_events_csv(const World& w) {
  std::string out = "utc,kind,string,detail\n";
  for (const Happening& h : w.happenings)
    out += iso_of(w.scene.start_unix_s + h.at_min * 60LL) + "," + h.kind + "," + h.string + "," +
           (h.detail.find(',') == std::string::npos ? h.detail : "\"" + h.detail + "\"") + "\n";
  return out;
}

}  // namespace fw::score

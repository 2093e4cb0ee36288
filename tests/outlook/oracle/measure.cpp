#include "outlook/oracle/measure.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace fw::oracle {

void Marks::add(const Marks& o) {
  mornings += o.mornings;
  agreed += o.agreed;
  oracle_clear += o.oracle_clear;
  product_clear += o.product_clear;
  stake_kwh += o.stake_kwh;
  won_kwh += o.won_kwh;
  at_once_kwh += o.at_once_kwh;
  soc_inside += o.soc_inside;
  curtailed_said += o.curtailed_said;
  curtailed_true += o.curtailed_true;
  for (auto [to, from] : {std::pair{&gain_error, &o.gain_error}, std::pair{&soc_error, &o.soc_error}, std::pair{&soc_bias, &o.soc_bias},
                          std::pair{&taken_bias, &o.taken_bias}, std::pair{&load_bias, &o.load_bias}, std::pair{&rest_bias, &o.rest_bias},
                          std::pair{&curtailed_error, &o.curtailed_error}})
    to->insert(to->end(), from->begin(), from->end());
}

void Marks::print(const char* title) const {
  std::vector<double> gain_abs, curtailed_abs;
  for (double e : gain_error) gain_abs.push_back(std::abs(e));
  for (double e : curtailed_error) curtailed_abs.push_back(std::abs(e));
  std::printf("%s\n", title);
  std::printf("  clear or wait: agrees on %d of %d snowy mornings (%.0f %%; oracle clears %d, product %d)\n", agreed, mornings,
              mornings ? 100.0 * agreed / mornings : 0, oracle_clear, product_clear);
  auto lost = [&](double of_kwh) { return of_kwh > 0 ? 100 * (1 - won_kwh / of_kwh) : 0; };
  std::printf("  loss against the oracle: %.1f %% of %.1f kWh at stake (%.1f %% of %.1f kWh for one who does not wait for the ice to let go)\n",
              lost(stake_kwh), stake_kwh, lost(at_once_kwh), at_once_kwh);
  std::printf("  gain: median error %.0f %%, median size of it %.0f %% (N %zu)\n", 100 * median(gain_error), 100 * median(gain_abs), gain_abs.size());
  std::printf("  state of charge 24 h ahead: median error %.1f points, 80 %% range holds %.0f %% (N %zu)\n", 100 * median(soc_error),
              soc_error.empty() ? 0 : 100.0 * soc_inside / static_cast<double>(soc_error.size()), soc_error.size());
  std::printf("    in points of the bank, mean error / median size:");
  for (const auto& [what, v] : {std::pair{"all", &soc_bias}, std::pair{"sun taken", &taken_bias}, std::pair{"loads", &load_bias}, std::pair{"the rest", &rest_bias}}) {
    double sum = 0;
    std::vector<double> size;
    for (double x : *v) sum += x, size.push_back(std::abs(x));
    std::printf("  %s %+.1f / %.1f", what, v->empty() ? 0 : 100 * sum / static_cast<double>(v->size()), 100 * median(size));
  }
  std::printf("\n");
  std::printf("  curtailable: median size of error %.0f %% (N %zu days), sum said %.1f true %.1f kWh\n", 100 * median(curtailed_abs),
              curtailed_abs.size(), curtailed_said, curtailed_true);
}

void Watcher::on_minute(Utc t, const outlook::Outlook& product) {
  if (t < w_.start || w_.index(t) >= w_.steps.size()) return;
  const std::size_t i = w_.index(t);
  const Utc day = words_.local_midnight(t);
  if (day != day_) {
    day_ = day;
    judged_ = false;
  }
  const std::size_t end = std::min(w_.steps.size(), w_.index(words_.next_local_midnight(t)));
  double clear = 0;
  for (const auto& s : w_.steps[i].strings) clear += s.clear_w;
  // An hour and a half after first light: what fell at night without a forecast has been seen by then.
  constexpr std::size_t light = 18;
  if (!judged_ && clear > 0 && t - w_.start > hours{30} && i >= light) {
    double earlier = 0;
    for (const auto& s : w_.steps[i - light].strings) earlier += s.clear_w;
    if (earlier > 0) {
      judged_ = true;
      bool snowy = false;
      for (const auto& s : w_.steps[i].strings) snowy |= s.snow_loss > 0.3;
      const bool whole_day = w_.index(words_.next_local_midnight(t)) <= w_.steps.size();
      const auto& c = product.plan().clearing;
      if (snowy && whole_day) {
        const Best best = best_clearing(w_, i, end, true);
        const bool oracle_clears = best.kwh >= threshold_;
        // "After the snowfall, best at ..." today is advice to clear as well.
        const bool product_clears = c.choice == outlook::Choice::clear ||
                                    (c.choice == outlook::Choice::wait_snow && c.today_kwh >= threshold_ && c.best_from.has_value());
        ++m_.mornings;
        m_.agreed += oracle_clears == product_clears;
        m_.oracle_clear += oracle_clears;
        m_.product_clear += product_clears;
        std::size_t step = c.best_from ? w_.index(*c.best_from) : 0;
        for (const auto& [hand, string] : w_.cleared)  // somebody went up before that hour: judged by the moment before
          if (hand > t && w_.index(hand) < end) step = std::min(step, w_.index(hand) - 1);
        const double at_product = c.best_from ? gain_kwh(w_, step, end) : 0;
        if (oracle_clears) {
          m_.stake_kwh += best.kwh;
          m_.at_once_kwh += best_clearing(w_, i, end, false).kwh;
          if (product_clears) m_.won_kwh += at_product;
        }
        if (at_product >= 0.2) m_.gain_error.push_back(c.today_kwh / at_product - 1);
        if (chatty_ && oracle_clears != product_clears)
          for (int k = 0; k < 12 && static_cast<std::size_t>(k) < product.plan().hours.size(); ++k) {
            const auto& h = product.plan().hours[static_cast<std::size_t>(k)];
            double as_is = 0, cleared = 0;
            for (double x : h.as_is_w) as_is += x;
            for (double x : h.cleared_w) cleared += x;
            std::printf("      %s as is %.0f cleared %.0f taken %.0f curtailed %.0f held off %.0f loads %.0f soc %.2f air %.0f snow %.1f cm share %.2f\n", words_.clock(h.from).c_str(), as_is, cleared,
                        h.accepted_w, h.curtailed_w, h.held_off_w, h.served_w, h.soc_mid, h.air_c, h.snow_cm, h.clear_share);
          }
        if (chatty_) {
          double said_bare = 0, said_left = 0, true_bare = 0, true_left = 0;
          for (const auto& h : product.plan().hours)
            if (h.from < words_.next_local_midnight(t)) {
              for (double x : h.cleared_w) said_bare += x / 1000;
              for (double x : h.as_is_w) said_left += x / 1000;
            }
          for (std::size_t k = i; k < end; ++k)
            for (const auto& q : w_.steps[k].strings) true_bare += q.bare_w / 12000, true_left += q.bare_w * (1 - q.snow_loss) / 12000;
          std::printf("    %s oracle %.2f at %s, product %d %.2f kWh from %s (true %.2f), soc %.2f, rest of day bare %.2f (true %.2f) left %.2f (true %.2f)  %s\n", words_.local_date(t).c_str(), best.kwh,
                      words_.clock(w_.at(best.step)).c_str(), static_cast<int>(c.choice), c.today_kwh,
                      c.best_from ? words_.clock(*c.best_from).c_str() : "-", at_product, w_.steps[i].soc, said_bare, true_bare, said_left, true_left,
                      oracle_clears == product_clears ? "" : "DIFFERS");
        }
      }
      if (whole_day) {
        const double truth = curtailed_kwh(w_, i, end);
        const double said = product.plan().surplus_today ? product.plan().surplus_today->kwh : 0;
        if (truth >= 0.3) m_.curtailed_error.push_back(said / truth - 1);
        if (chatty_ && (truth >= 0.3 || said >= 0.3))
          std::printf("    %s curtailed true %.2f said %.2f kWh\n", words_.local_date(t).c_str(), truth, said);
        m_.curtailed_true += truth;
        m_.curtailed_said += said;
      }
    }
  }
  const auto& p = product.plan();
  if (chatty_ && words_.minute_of_day(t) == 6 * 60 && p.hours.size() > 24) {
    double clean = 0, as_is = 0, taken = 0, lost = 0, off = 0, share = 0, weight = 0, load = 0, t_clear = 0, t_bare = 0, t_left = 0, t_made = 0, t_load = 0;
    for (int k = 0; k < 24; ++k) {
      const auto& h = p.hours[k];
      for (double w : h.cleared_w) clean += w / 1000, weight += w, share += w * h.clear_share;
      for (double w : h.as_is_w) as_is += w / 1000;
      taken += h.accepted_w / 1000;
      lost += h.curtailed_w / 1000;
      off += h.held_off_w / 1000;
      load += h.served_w / 1000;
    }
    for (std::size_t k = i; k < std::min(i + 288, w_.steps.size()); ++k) {
      for (const auto& q : w_.steps[k].strings) t_clear += q.clear_w / 12000, t_bare += q.bare_w / 12000, t_left += q.bare_w * (1 - q.snow_loss) / 12000, t_made += q.actual_w / 12000;
      t_load += w_.steps[k].load_w / 12000;
    }
    std::printf("    day %s said: bare %.2f left %.2f taken %.2f curtailed %.2f held off %.2f load %.2f (share %.2f) | true: clear %.2f bare %.2f left %.2f made %.2f load %.2f\n",
                words_.local_date(t).c_str(), clean, as_is, taken, lost, off, load, weight > 0 ? share / weight : 0, t_clear, t_bare, t_left, t_made, t_load);
  }
  if (words_.minute_of_day(t) % 60 == 0 && t - w_.start > hours{24} && p.soc_known && p.hours.size() > 24) {
    const auto& h = p.hours[23];
    Said said{h.from + hours{1}, h.soc_low, h.soc_mid, h.soc_high, 0, 0, p.hours[0].served_w};
    for (int k = 0; k < 24; ++k) {
      said.taken_kwh += p.hours[k].accepted_w / 1000;
      said.load_kwh += p.hours[k].served_w / 1000;
    }
    said_.push_back(said);
  }
}

Marks Watcher::finish() {
  for (const auto& s : said_) {
    const std::size_t i = w_.index(s.due);
    if (i >= w_.steps.size()) continue;
    bool hand = false;
    for (const auto& [c, string] : w_.cleared) hand |= c > s.due - hours{24} && c <= s.due;
    if (hand) continue;  // nobody can foresee a person on the roof
    const double truth = w_.steps[i].soc;
    m_.soc_error.push_back(std::abs(s.mid - truth));
    m_.soc_bias.push_back(s.mid - truth);
    double taken = 0, load = 0;
    for (std::size_t k = i - 288; k < i; ++k) {
      load += w_.steps[k].load_w / 12000;
      for (const auto& q : w_.steps[k].strings) taken += 0.96 * q.actual_w / 12000;
    }
    m_.taken_bias.push_back((s.taken_kwh - taken) * 1000 / w_.capacity_wh);
    m_.load_bias.push_back((s.load_kwh - load) * 1000 / w_.capacity_wh);
    m_.rest_bias.push_back(m_.soc_bias.back() - m_.taken_bias.back() + m_.load_bias.back());
    if (chatty_ && std::abs(s.mid - truth) > 0.15)
      std::printf("    miss due %s %.2f now, said %.2f (%.2f..%.2f) true %.2f, sun said %.2f true %.2f, loads said %.2f (%.0f W now) true %.2f kWh\n", words_.date_clock(s.due).c_str(),
                  w_.steps[i - 288].soc, s.mid, s.low, s.high, truth, s.taken_kwh, taken, s.load_kwh, s.load_now_w, load);
    m_.soc_inside += truth >= s.low - 0.005 && truth <= s.high + 0.005;
  }
  return m_;
}

}  // namespace fw::oracle

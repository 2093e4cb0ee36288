#include "score/ledger.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace fw::score {

namespace {

constexpr std::size_t at(Loss l) { return static_cast<std::size_t>(l); }

bool off(double ours, double truth) {
  const double miss = std::abs(ours - truth);
  return miss > 0.1 && miss > 0.15 * std::abs(truth);
}

}  // namespace

LossKwh true_split_w(const TruthRow& r) {
  LossKwh s{};
  s[at(Loss::cloud)] = r.clear_w - r.available_w;
  if (!r.live) {
    s[at(Loss::no_data)] = r.available_w;
    return s;
  }
  double left = r.available_w;
  const auto take = [&](Loss loss, double share) {
    s[at(loss)] += left * share;
    left -= left * share;
  };
  take(Loss::shade, 1 - r.shade);
  take(Loss::snow, r.snow_loss);
  take(Loss::snow, r.frost);
  take(Loss::soiling, r.soiling);
  s[at(Loss::made)] = r.actual_w;
  s[at(r.cause == "outage" ? Loss::outage : r.curtailed ? Loss::curtailed : Loss::unexplained)] += left - r.actual_w;
  return s;
}

void Ledger::on_minute(Utc minute, const std::vector<Verdict>& verdicts) {
  constexpr double kwh = 1.0 / 60 / 1000;
  for (const Verdict& v : verdicts) {
    const TruthRow* t = truth_.at(minute, strings_[static_cast<std::size_t>(v.string)]);
    if (!t) continue;
    LedgerDay& day = days_[words_.local_date(minute)];
    const LossSplit& s = v.split;
    const LossKwh ours{s.made_w, s.cloud_w, s.snow_w, s.soiling_w, s.shade_w, s.curtailed_w + s.cold_w, s.outage_w, s.no_data_w, s.unexplained_w};
    const LossKwh truth = true_split_w(*t);
    for (std::size_t i = 0; i < loss_count; ++i) {
      day.ours[i] += ours[i] * kwh;
      day.truth[i] += truth[i] * kwh;
      if (t->cause != name(v.cause)) continue;
      told_right_.ours[i] += ours[i] * kwh;
      told_right_.truth[i] += truth[i] * kwh;
    }
  }
}

LedgerDay Ledger::whole() const {
  LedgerDay all;
  for (const auto& [date, day] : days_)
    for (std::size_t i = 0; i < loss_count; ++i) {
      all.ours[i] += day.ours[i];
      all.truth[i] += day.truth[i];
    }
  return all;
}

int Ledger::days_off(Loss loss) const {
  return static_cast<int>(std::count_if(days_.begin(), days_.end(), [&](const auto& d) { return off(d.second.ours[at(loss)], d.second.truth[at(loss)]); }));
}

void Ledger::print() const {
  const auto line = [](const std::string& head, const LedgerDay& d, double tolerance) {
    std::printf("  %-10s", head.c_str());
    for (std::size_t i = 0; i < loss_count; ++i) {
      const double miss = std::abs(d.ours[i] - d.truth[i]);
      std::printf(" %6.2f/%6.2f%c", d.ours[i], d.truth[i], miss > tolerance && miss > 0.15 * std::abs(d.truth[i]) ? '!' : ' ');
    }
    std::printf("\n");
  };
  std::printf("  kWh       ");
  for (const char* n : loss_names) std::printf(" %14s", n);
  std::printf("   (ours/truth, ! off by over 15 %% and 0.1)\n");
  for (const auto& [date, day] : days_) line(date, day, 0.1);
  line("all", whole(), 0.1 * static_cast<double>(days_.size()));
  line("told right", told_right_, 0.1 * static_cast<double>(days_.size()));
}

}  // namespace fw::score

#include "score/tally.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "units/text.h"

namespace fw::score {

namespace {

double quantile(std::vector<double> v, double q) {
  if (v.empty()) return 0;
  std::sort(v.begin(), v.end());
  return v[std::min(v.size() - 1, static_cast<std::size_t>(q * static_cast<double>(v.size())))];
}

void add_counts(Counts& a, const Counts& b) {
  a.right += b.right;
  a.claimed += b.claimed;
  a.true_of += b.true_of;
}

double minutes_between(Utc a, Utc b) { return static_cast<double>((b - a).count()) / 60e3; }

}  // namespace

Scorer::Scorer(const Truth& truth, std::vector<std::string> strings)
    : truth_(truth), strings_(std::move(strings)), open_(strings_.size()) {}

void Scorer::on_minute(Utc start, const std::vector<Verdict>& verdicts, const std::vector<Fact>& facts) {
  const Utc five = floor_to(start, minutes{5});
  if (!started_) {
    first_ = start;
    open_start_ = five;
    started_ = true;
  }
  last_ = start;
  if (five != open_start_) {
    for (std::size_t i = 0; i < strings_.size(); ++i) close(open_start_, i);
    open_.assign(strings_.size(), {});
    open_start_ = five;
  }
  for (const Verdict& v : verdicts) {
    Interval& o = open_[static_cast<std::size_t>(v.string)];
    const auto c = static_cast<std::size_t>(v.cause);
    ++o.minutes[c];
    o.confidence[c] += v.confidence;
    o.expected_w += v.expected_w;
    o.clear_w += v.clear_sky_w;
    ++o.count;
    if (v.soiling_loss) {
      o.soiling += *v.soiling_loss;
      ++o.soiling_count;
    }
    t_.clear_kwh += v.split.sum() / 60e3;
    t_.unexplained_kwh += v.split.unexplained_w / 60e3;
  }
  for (const Fact& f : facts) {
    const auto key = std::make_pair(f.alarm, f.subject);
    const bool on = f.condition && f.confidence >= 0.5;
    bool& before = now_[key];
    if (on && !before) {
      standing_[key].push_back({start, Utc::max()});
      const TruthRow* row = truth_.at(start, f.subject);
      bool wrong = false;
      if (row) {
        if (f.alarm == "snow") wrong = row->snow_loss < 0.08;
        if (f.alarm == "soiling") wrong = row->soiling < 0.05;
        if (f.alarm == "outage" || f.alarm == "controller") wrong = !row->allows("outage");
        if (f.alarm == "over_voltage") wrong = true;
        if (f.alarm == "shade") wrong = row->shade > 0.93;
        if (f.alarm == "stale") wrong = row->live && !row->allows("stale");
      }
      if (wrong) {
        auto& last = last_false_[f.alarm];
        if (last == Utc{} || start - last > hours{1}) ++t_.false_alarms[f.alarm];
        last = start;
        t_.remarks.push_back("false " + f.alarm + " on " + f.subject + " at " + iso_utc(start) + " (truth " + row->cause + "): " + f.text);
      }
    }
    if (!on && before && !standing_[key].empty()) standing_[key].back().second = start;
    before = on;
  }
}

void Scorer::close(Utc start, std::size_t i) {
  const Interval& o = open_[i];
  if (o.count == 0) return;
  const TruthRow* row = truth_.at(start, strings_[i]);
  if (!row || !row->counted()) return;
  const auto best = static_cast<std::size_t>(std::max_element(o.minutes.begin(), o.minutes.end()) - o.minutes.begin());
  const std::string said{name(static_cast<Cause>(best))};
  const double confidence = o.confidence[best] / o.minutes[best];
  ++t_.intervals;
  const bool both = row->allows("cloud") && row->allows("snow");
  if (said == "unsure") ++t_.unsure;
  const bool lenient_right = row->allows(said) || (said == "unsure" && both);
  const std::string lenient_said = lenient_right ? row->cause : said;
  const std::string strict_said = said == "unsure" && both ? row->cause : said;
  ++t_.strict[row->cause].true_of;
  ++t_.strict[strict_said].claimed;
  if (strict_said == row->cause) ++t_.strict[row->cause].right;
  ++t_.lenient[row->cause].true_of;
  ++t_.lenient[lenient_said].claimed;
  if (lenient_right) ++t_.lenient[row->cause].right;
  else ++t_.confusion[{row->cause, said}];
  auto& bin = t_.reliability[static_cast<std::size_t>(std::clamp(confidence * 10, 0.0, 9.0))];
  bin[0] += 1;
  bin[1] += confidence;
  bin[2] += lenient_right;

  const long day = static_cast<long>((start - first_) / days{1});
  if (day >= 2) {
    Counts& c = t_.shade_from_third_day;
    c.true_of += row->cause == "shade";
    c.claimed += lenient_said == "shade";
    c.right += row->cause == "shade" && lenient_right;
  }
  auto& d = day_soiling_[{strings_[i], day}];
  ++d[0];
  d[1] += row->cause == "soiling";
  d[2] += said == "soiling" && !row->allows("soiling");
  d[3] += said == "soiling";
  const double k = row->clear_w > 0 ? row->available_w / row->clear_w : 0;
  if (day >= 2 && std::abs(k - 1) < 0.01 && row->shade > 0.99) {
    t_.expected_error.push_back(o.expected_w / o.count / row->available_w - 1);
    t_.clear_error.push_back(o.clear_w / o.count / row->clear_w - 1);
    if (o.soiling_count) t_.soiling_error.push_back(o.soiling / o.soiling_count - row->soiling);
  }
}

void Scorer::score_snow_episodes() {
  for (const Event& e : truth_.events) {
    if (e.kind != "snow_cover_start") continue;
    Utc end = last_;
    std::optional<Utc> knowable, release;
    for (const Event& f : truth_.events) {
      if (f.string != e.string || f.at < e.at) continue;
      if (f.kind == "snow_cover_start" && f.at > e.at) break;
      if (f.kind == "snow_knowable" && !knowable && end == last_) knowable = f.at;
      if (f.kind == "snow_cover_end" && end == last_) end = f.at;
      if (f.kind == "snow_release_knowable" && !release) release = f.at;
    }
    double kwh = 0;
    for (Utc t = floor_to(e.at, minutes{5}); t < end; t += minutes{5})
      if (const TruthRow* r = truth_.at(t, e.string)) kwh += r->available_w * r->snow_loss / 12e3;
    if (!knowable) continue;
    ++t_.episodes;
    const bool matters = kwh > 0.3;
    t_.episodes_that_matter += matters;
    std::optional<Utc> told, over;
    const auto found = standing_.find({"snow", e.string});
    if (found != standing_.end())
      for (const auto& [from, to] : found->second)
        if (from < end && to > e.at) {
          if (!told) told = std::max(from, e.at);
          over = to;
        }
    const std::string what = e.string + " " + iso_utc(e.at) + " (" + fixed(kwh, 2) + " kWh)";
    if (!told) {
      t_.remarks.push_back(std::string(matters ? "MISSED" : "missed") + " snow episode " + what);
      continue;
    }
    ++t_.alerted;
    t_.alerted_that_matter += matters;
    const double delay = std::max(0.0, minutes_between(*knowable, *told));
    t_.alert_delay_min.push_back(delay);
    if (delay > 15) t_.remarks.push_back("late snow alert by " + fixed(delay, 0) + " min: " + what);
    if (release) {
      ++t_.releasable;
      if (*over != Utc::max()) {
        ++t_.released;
        const double d = std::max(0.0, minutes_between(*release, *over));
        t_.release_delay_min.push_back(d);
        if (d > 30) t_.remarks.push_back("late release by " + fixed(d, 0) + " min: " + what);
      } else {
        t_.remarks.push_back("never released: " + what);
      }
    }
  }
}

Tally Scorer::finish() {
  for (std::size_t i = 0; i < strings_.size(); ++i) close(open_start_, i);
  t_.days = minutes_between(first_, last_) / 1440;
  for (const auto& [key, d] : day_soiling_) {
    const bool truly = d[1] * 4 > d[0] || d[1] > 20, said = d[3] > 12;
    const bool wrongly = d[2] > 12;
    t_.soiling_by_day.true_of += truly;
    t_.soiling_by_day.claimed += (truly && said) || wrongly;
    t_.soiling_by_day.right += truly && said;
  }
  score_snow_episodes();
  return t_;
}

void Tally::add(const Tally& o) {
  for (const auto& [k, c] : o.strict) add_counts(strict[k], c);
  for (const auto& [k, c] : o.lenient) add_counts(lenient[k], c);
  add_counts(shade_from_third_day, o.shade_from_third_day);
  add_counts(soiling_by_day, o.soiling_by_day);
  for (const auto& [k, n] : o.confusion) confusion[k] += n;
  for (const auto& [k, n] : o.false_alarms) false_alarms[k] += n;
  for (std::size_t i = 0; i < 10; ++i)
    for (std::size_t j = 0; j < 3; ++j) reliability[i][j] += o.reliability[i][j];
  intervals += o.intervals;
  unsure += o.unsure;
  episodes += o.episodes;
  episodes_that_matter += o.episodes_that_matter;
  alerted += o.alerted;
  alerted_that_matter += o.alerted_that_matter;
  released += o.released;
  releasable += o.releasable;
  days += o.days;
  clear_kwh += o.clear_kwh;
  unexplained_kwh += o.unexplained_kwh;
  const auto append = [](auto& a, const auto& b) { a.insert(a.end(), b.begin(), b.end()); };
  append(alert_delay_min, o.alert_delay_min);
  append(release_delay_min, o.release_delay_min);
  append(expected_error, o.expected_error);
  append(clear_error, o.clear_error);
  append(soiling_error, o.soiling_error);
}

void Tally::print(const std::string& title, bool long_form) const {
  std::printf("\n== %s: %.1f days, %ld intervals, unsure %.1f %%\n", title.c_str(), days, intervals,
              intervals ? 100.0 * static_cast<double>(unsure) / static_cast<double>(intervals) : 0);
  std::printf("  %-10s %7s   %-24s %-24s\n", "cause", "N", "strict  P     R     F1", "lenient P     R     F1");
  for (int i = 0; i < cause_count; ++i) {
    const std::string c{name(static_cast<Cause>(i))};
    const auto s = strict.find(c), l = lenient.find(c);
    if (s == strict.end()) continue;
    const Counts lc = l == lenient.end() ? Counts{} : l->second;
    std::printf("  %-10s %7ld        %.3f %.3f %.3f        %.3f %.3f %.3f\n", c.c_str(), s->second.true_of,
                s->second.precision(), s->second.recall(), s->second.f1(), lc.precision(), lc.recall(), lc.f1());
  }
  if (shade_from_third_day.true_of)
    std::printf("  shade from the third day: F1 %.3f (N %ld)\n", shade_from_third_day.f1(), shade_from_third_day.true_of);
  if (soiling_by_day.true_of || soiling_by_day.claimed)
    std::printf("  soiling by string-day: F1 %.3f (N %ld)\n", soiling_by_day.f1(), soiling_by_day.true_of);
  std::printf("  snow episodes: %ld, alerted %ld; that matter: %ld, alerted %ld; delay median %.0f p90 %.0f min; "
              "released %ld of %ld, median %.0f p90 %.0f min\n",
              episodes, alerted, episodes_that_matter, alerted_that_matter, quantile(alert_delay_min, 0.5),
              quantile(alert_delay_min, 0.9), released, releasable, quantile(release_delay_min, 0.5),
              quantile(release_delay_min, 0.9));
  std::printf("  false alarms:");
  for (const char* a : {"snow", "soiling", "outage", "shade", "controller", "over_voltage", "stale"}) {
    const auto f = false_alarms.find(a);
    const long n = f == false_alarms.end() ? 0 : f->second;
    std::printf(" %s %ld (%.1f per 30 d)", a, n, days > 0 ? 30.0 * static_cast<double>(n) / days : 0);
  }
  std::printf("\n");
  const auto spread = [](const char* what, std::vector<double> v) {
    if (v.empty()) return;
    const double bias = quantile(v, 0.5);
    for (double& x : v) x = std::abs(x);
    std::printf("  %s: median |error| %.1f %%, p90 %.1f %%, bias %+.1f %% (N %zu)\n", what, 100 * quantile(v, 0.5),
                100 * quantile(v, 0.9), 100 * bias, v.size());
  };
  spread("expected power at cloudless moments, from the third day", expected_error);
  spread("clear-sky power there", clear_error);
  spread("soiling estimate there", soiling_error);
  std::printf("  unexplained %.1f of %.1f kWh (%.1f %%)\n", unexplained_kwh, clear_kwh,
              clear_kwh > 0 ? 100 * unexplained_kwh / clear_kwh : 0);
  if (!long_form) return;
  std::printf("  confidence:");
  for (const auto& b : reliability)
    if (b[0] > 0) std::printf("  %.2f said %.2f right (%.0f)", b[1] / b[0], b[2] / b[0], b[0]);
  std::printf("\n  wrong, truth -> said:");
  std::vector<std::pair<long, std::string>> pairs;
  for (const auto& [k, n] : confusion) pairs.push_back({n, k.first + " -> " + k.second});
  std::sort(pairs.rbegin(), pairs.rend());
  for (std::size_t i = 0; i < std::min<std::size_t>(pairs.size(), 24); ++i)
    std::printf("%s %s %ld", i ? "," : "", pairs[i].second.c_str(), pairs[i].first);
  std::printf("\n");
  for (const std::string& r : remarks) std::printf("  - %s\n", r.c_str());
}

}  // namespace fw::score

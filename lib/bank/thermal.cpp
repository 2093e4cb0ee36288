#include "bank/thermal.h"

#include <algorithm>
#include <cmath>

#include "bank/belief.h"

namespace fw::bank {

namespace {

constexpr Span balance_length = minutes{60};
constexpr Span young_length = minutes{30};       // a first opinion soon
constexpr double young_hours = 2;
constexpr Span balance_step = minutes{15};
constexpr Span longest_pause = minutes{20};
constexpr Span step = minutes{5};
constexpr double reading_error_k = 0.08;
constexpr double structure_error_k_per_h = 0.07;
constexpr double mixed = 0.25;
// Random walk per hour: slow for what the bank is, quick for what the world does to it.
constexpr ThermalModel::Coefficients walk_per_h{6e-7, 6e-7, 1e-8, 1e-2, 2e-4, 2e-4};

double pull(std::optional<double> c, double cell_c) { return c ? *c - cell_c : 0; }

}  // namespace

ThermalModel::ThermalModel(double capacity_wh) : capacity_wh_(capacity_wh) { forget(); }

void ThermalModel::forget() {
  const double capacity_wh = capacity_wh_;
  const double per_w = 3600 / heat_capacity_j_per_k(capacity_wh);
  // Before anything is learned: half a day to whatever surrounds it, and losses of 5 % of the voltage at 1 C.
  x_ = {0.03, 0.05, 0.7 * per_w, 0.05 * capacity_wh * per_w, 0, 0};
  Coefficients sd{0.06, 0.12, 0.4 * per_w, 8, 0.6, 0};
  // A heater found by its turns: as strong as they were steep, which the case alone overstates.
  if (const auto h = hold(); h && knew_hold_) {
    x_[5] = 0.8 * h->strength_k_per_h;
    sd[5] = 0.25 * h->strength_k_per_h;
    sd[4] = 0.2;
  }
  p_ = {};
  for (std::size_t i = 0; i < coefficients; ++i) p_[i][i] = sd[i] * sd[i];
  error_ = 0.3;
  recent_ = 0;
  hours_ = 0;
}

double ThermalModel::rate_k_per_h(double t, const Surroundings& s) const {
  return x_[0] * pull(s.air_c, t) + x_[1] * pull(s.cabin_c, t) + x_[2] * s.heater_w + x_[3] * s.c_rate * s.c_rate + x_[4] +
         s.habit_k_per_h;
}

double ThermalModel::time_constant_h() const { return std::clamp(1 / std::max(x_[0] + x_[1], 1e-6), 1.0, 500.0); }
double ThermalModel::cabin_share() const { return x_[1] / std::max(x_[0] + x_[1], 1e-6); }
double ThermalModel::k_per_w() const { return x_[2] * time_constant_h(); }

void ThermalModel::learn(Elapsed at, double cell_c, const Surroundings& s) {
  Coefficients no_lever{};
  hidden_.watch(at, cell_c, {rate_k_per_h(cell_c, s), carry_uncertainty(no_lever, cell_c, s, false, 1), x_[5], step_k_, s.heater_w > 0});
  if (!knew_hold_ && hold()) {
    // What was learned took the heater for something else.
    knew_hold_ = true;
    forget();
  }
  observe(at, cell_c, s);
  if (!window_.empty()) {
    const Sample& last = window_.back();
    const bool broken = at <= last.at || at - last.at > longest_pause || last.s.air_c.has_value() != s.air_c.has_value() ||
                        last.s.cabin_c.has_value() != s.cabin_c.has_value();
    if (broken) window_.clear();
  }
  window_.push_back({at, cell_c, s, hidden_on()});
  const Span length = at - window_.front().at;
  if (length < (hours_ < young_hours ? young_length : balance_length)) return;
  balance(static_cast<double>(length.count()) / 60000.0);
  const Elapsed keep_from = window_.front().at + balance_step;
  window_.erase(window_.begin(), std::find_if(window_.begin(), window_.end(), [&](const Sample& w) { return w.at >= keep_from; }));
}

void ThermalModel::observe(Elapsed at, double c, const Surroundings& s) {
  if (last_raw_ && std::abs(c - *last_raw_) > 1e-6) step_k_ = std::min(step_k_, std::max(0.05, std::abs(c - *last_raw_)));
  last_raw_ = c;
  const double minutes_gone = observed_ ? seconds_of(at - observed_at_) / 60 : 1e9;
  observed_at_ = at;
  if (minutes_gone > 20 || minutes_gone <= 0 || std::abs(c - *observed_) > 1) {
    observed_ = c;
    return;
  }
  const double follow = step_k_ > 0.3 ? 0.05 : 0.25;
  *observed_ += (rate_k_per_h(*observed_, s) + hidden_on() * x_[5] + recent_) * minutes_gone / 60;
  *observed_ += std::min(1.0, follow * minutes_gone) * (c - *observed_);
}

void ThermalModel::balance(double minutes_long) {
  const auto n = window_.size();
  if (n < 6) return;
  // Ends are means over the first and last sixth, so that one coarse digit does not decide.
  const std::size_t k = std::max<std::size_t>(1, n / 6);
  double t0 = 0, t1 = 0, at0 = 0, at1 = 0;
  for (std::size_t i = 0; i < k; ++i) {
    t0 += window_[i].cell_c;
    t1 += window_[n - 1 - i].cell_c;
    at0 += hours_of(window_[i].at - window_[0].at);
    at1 += hours_of(window_[n - 1 - i].at - window_[0].at);
  }
  const double h = (at1 - at0) / static_cast<double>(k);
  if (h <= 0.2) return;
  Coefficients f{};
  double habit = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const Surroundings& s = window_[i].s;
    f[0] += pull(s.air_c, window_[i].cell_c);
    f[1] += pull(s.cabin_c, window_[i].cell_c);
    f[2] += s.heater_w;
    f[3] += s.c_rate * s.c_rate;
    f[5] += window_[i].hidden_on;
    habit += s.habit_k_per_h / static_cast<double>(n);
  }
  for (auto& v : f) v /= static_cast<double>(n);
  f[4] = 1;
  const double seen = (t1 - t0) / static_cast<double>(k) / h;

  const double dt_h = std::min(minutes_long / 60, 1.0) / 4;
  for (std::size_t i = 0; i < coefficients; ++i) p_[i][i] += walk_per_h[i] * dt_h;
  double expected = habit;
  Coefficients pf{};
  for (std::size_t i = 0; i < coefficients; ++i) {
    expected += x_[i] * f[i];
    for (std::size_t j = 0; j < coefficients; ++j) pf[i] += p_[i][j] * f[j];
  }
  double spread = 0;
  for (std::size_t i = 0; i < coefficients; ++i) spread += f[i] * pf[i];
  const double miss = seen - expected;
  miss_ = std::clamp(miss, -2.0, 2.0);
  ++balances_;
  // Balances overlap four times, so each counts for a quarter. A coarse digit errs at both ends, however often read.
  const double digit = std::min(step_k_, 1.0);
  double noise = 4 * ((2 * reading_error_k * reading_error_k / static_cast<double>(k) + digit * digit / 6) / (h * h) +
                      structure_error_k_per_h * structure_error_k_per_h);
  // An hour in which it came or went says little of how strong it is: the case runs ahead of the whole.
  noise += 4 * x_[5] * x_[5] * mixed * f[5] * (1 - f[5]);
  // While young what the fit leaves over, later what it did not foresee.
  const double left = hours_ < 6 ? miss * noise / (spread + noise) : miss;
  error_ += std::max(0.04, 1 / (2 + 4 * hours_)) * (std::min(std::abs(left), 2.0) - error_);
  hours_ += 0.25;
  const double allowed = 2 * std::sqrt(spread + noise);
  if (std::abs(miss) > allowed) noise *= std::abs(miss) / allowed;
  recent_ += 0.35 * (std::clamp(miss, -3.0, 3.0) - recent_);
  for (std::size_t i = 0; i < coefficients; ++i) x_[i] += pf[i] / (spread + noise) * miss;
  for (std::size_t i = 0; i < coefficients; ++i)
    for (std::size_t j = 0; j < coefficients; ++j) p_[i][j] -= pf[i] * pf[j] / (spread + noise);
  for (std::size_t i = 0; i < coefficients; ++i) p_[i][i] = std::max(p_[i][i], 1e-12);
  x_[0] = std::clamp(x_[0], 0.0, 1.0);
  x_[1] = std::clamp(x_[1], 0.0, 1.0);
  x_[2] = std::max(x_[2], 0.0);
  x_[3] = std::max(x_[3], 0.0);
  // Beside a hidden heater, warmth that is always there is most likely the heater's.
  const double most_rest = knew_hold_ ? 0.4 : 3;
  x_[4] = std::clamp(x_[4], -most_rest, most_rest);
  // The step at a turn shows the heater alone; hours of heating show it and the losses as one.
  if (const auto held = hold()) x_[5] = std::clamp(x_[5], 0.4 * held->strength_k_per_h, 1.2 * held->strength_k_per_h);
}

double ThermalModel::carry_uncertainty(Coefficients& d, double t, const Surroundings& s, bool hidden_on, double dt_h) const {
  const Coefficients f{pull(s.air_c, t), pull(s.cabin_c, t), s.heater_w, s.c_rate * s.c_rate, 1, hidden_on ? 1.0 : 0.0};
  const double back = (s.air_c ? x_[0] : 0) + (s.cabin_c ? x_[1] : 0);
  for (std::size_t i = 0; i < coefficients; ++i) d[i] += (f[i] - back * d[i]) * dt_h;
  double variance = 0;
  for (std::size_t i = 0; i < coefficients; ++i) {
    const double di = d[i];
    const double* p = p_[i].data();
    for (const double dj : d) variance += di * *p++ * dj;
  }
  return std::sqrt(std::max(variance, 0.0));
}

ThermalModel::Memory ThermalModel::memory() const { return {x_, p_, error_, hours_, hidden_.turns()}; }

void ThermalModel::recall(const Memory& m) {
  x_ = m.x;
  p_ = m.p;
  error_ = m.error;
  hours_ = m.hours;
  hidden_.recall(m.turns);
  knew_hold_ = hold().has_value();
  window_.clear();
}

Course course_of(const ThermalModel& m, double cell_c, const Ahead& ahead, Span length, double air_sigma_k, std::vector<Thermostat> heaters) {
  constexpr double at_a_thermostat_k = 0.15;       // where a heater turns the cells is well known
  constexpr std::size_t an_hour = hours{1} / step;
  Course course;
  course.reserve(static_cast<std::size_t>(length / step) + 1);
  const double tau = m.time_constant_h();
  const double rate_sigma = std::clamp(m.rate_error_k_per_h(), 0.03, 0.6);
  const double dt = hours_of(step);
  const double recent = m.recent_k_per_h() * std::min(1.0, 0.5 + m.hours_learned() / 8);
  // A great miss is no weather's whim: something else has changed, and stays so.
  const double recent_lasts_h = std::abs(recent) > 0.4 ? 6 : 2;
  const auto hold = m.hold();
  double c = cell_c;
  bool hidden_on = m.hidden_on() > 0.5, held = false;
  ThermalModel::Coefficients by_coefficient{};
  double from_coefficients = 0;
  for (Span at{}; at <= length; at += step) {
    const double h = hours_of(at);
    const double gone = 1 - std::exp(-h / tau);
    const double from_rate = rate_sigma * (tau * gone) * 0.7;
    const double from_air = air_sigma_k * gone * std::min(1.0, 0.4 + h / 12);
    const double sigma = std::sqrt(0.02 + from_rate * from_rate + from_air * from_air + from_coefficients * from_coefficients);
    course.push_back({at, c, held ? std::min(sigma, at_a_thermostat_k) : sigma, held});
    Surroundings s = ahead(at, c);
    bool heats = false, turned = false;
    for (Thermostat& t : heaters) {
      const bool was = t.on_now;
      t.on_now = c <= t.on_c || (was && c < t.off_c);
      turned = turned || (t.on_now && !was);
      heats = heats || t.on_now;
      if (t.on_now) s.heater_w += t.watts;
    }
    // What the last hours did beyond all that was learned fades.
    double rate = m.rate_k_per_h(c, s) + recent * std::exp(-h / recent_lasts_h);
    if (hold) {
      const bool was = hidden_on;
      hidden_on = c <= hold->turn_c || (was && c < hold->off_c);
      if (hidden_on) rate += m.hidden_k_per_h();
      turned = turned || (hidden_on && !was);
      heats = heats || hidden_on;
    }
    held = heats && rate > -0.05;
    if (turned && held)
      for (std::size_t k = course.size() - std::min(course.size(), an_hour); k < course.size(); ++k)
        course[k].sigma_k = std::min(course[k].sigma_k, at_a_thermostat_k);
    from_coefficients = m.carry_uncertainty(by_coefficient, c, s, hidden_on, dt);
    c += rate * dt;
  }
  return course;
}

Crossing crossing_of(const Course& course, double level_c, bool lasting) {
  Crossing x;
  x.deepest_c = 1e9;
  constexpr std::size_t hour = hours{1} / step;
  double likeliest = -1e9;
  for (std::size_t i = 0; i < course.size(); ++i) {
    const CoursePoint& p = course[i];
    double counts = p.cell_c;
    if (lasting) {
      if (i + hour >= course.size()) break;
      double warmest = p.cell_c;
      for (std::size_t k = i; k <= i + hour; ++k) warmest = std::max(warmest, course[k].cell_c);
      counts = std::min(warmest, p.cell_c + 1);
    }
    likeliest = std::max(likeliest, (level_c - counts) / std::max(p.sigma_k, 0.05));
    x.deepest_c = std::min(x.deepest_c, p.cell_c);
    if (p.cell_c <= level_c) {
      if (!x.at && (!lasting || counts <= level_c)) x.at = p.ahead;
      x.below += step;
    }
    if (!x.early && p.cell_c - p.sigma_k <= level_c) x.early = p.ahead;
    if (!x.late && p.cell_c + p.sigma_k <= level_c) x.late = p.ahead;
  }
  x.probability = 0.5 * std::erfc(-likeliest / std::sqrt(2.0));
  return x;
}

HeatNeed heat_to_hold(const ThermalModel& m, double level_c, const Ahead& ahead, Span from, Span until) {
  HeatNeed need;
  if (m.heat_per_w() <= 1e-6) return need;
  double wh = 0;
  for (Span at = from; at < until; at += step) {
    Surroundings s = ahead(at, level_c);
    s.heater_w = 0;
    const double watts = std::max(0.0, -m.rate_k_per_h(level_c, s) / m.heat_per_w());
    need.watts = std::max(need.watts, watts);
    wh += watts * hours_of(step);
  }
  need.kwh = wh / 1000;
  return need;
}

}  // namespace fw::bank

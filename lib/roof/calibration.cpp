#include "roof/calibration.h"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "sun/angle.h"
#include "units/text.h"

namespace fw::roof {
namespace {

constexpr double patch_azimuth_deg = 3, patch_elevation_deg = 2;
constexpr int patches_around = 120;
constexpr std::size_t days_per_patch = 5;
constexpr int days_kept = 60;
constexpr double scale_low = 0.6, scale_high = 1.3;
constexpr double day_scale_low = 0.02, day_scale_high = 2;
constexpr double haze_limit = 0.06;
constexpr double lean_limit = 0.6;        // about 30 deg
constexpr double patch_sigma = 0.04;      // scatter of a patch's day mean about the model, ln
constexpr double day_sigma = 0.06;        // how much days differ by themselves
constexpr double paper_sigma = 0.08;      // of a rating; an estimate
constexpr double full_patch_min = 10;     // minutes after which a patch counts in full
constexpr double good_day_min = 45;
constexpr double never_above = 0.85;       // of clear power, on so many days: something stands there
constexpr std::size_t best_days = 3;
constexpr double gap_below = 0.7;         // shade on both sides of a gap

int patch_key(double elevation_deg, double azimuth_deg) {
  const int a = std::min(static_cast<int>(sun::turn_deg(azimuth_deg) / patch_azimuth_deg), patches_around - 1);
  const int e = static_cast<int>(std::clamp(elevation_deg, 0.0, 90.0) / patch_elevation_deg);
  return e * patches_around + a;
}

sun::Direction leaned(const sun::Direction& n, double east, double north) {
  sun::Direction d{n.east + east, n.north + north, n.up};
  const double length = std::sqrt(d.east * d.east + d.north * d.north + d.up * d.up);
  return {d.east / length, d.north / length, d.up / length};
}

sky::Plane plane_of(const sun::Direction& n, const sky::Plane& fallback) {
  const double flat = std::hypot(n.east, n.north);
  return {std::atan2(flat, n.up) * sun::deg_per_rad,
          flat < 1e-6 ? fallback.azimuth_deg : sun::turn_deg(std::atan2(n.east, n.north) * sun::deg_per_rad)};
}

// Residuals below the model are faults or shade sooner than noise: they lose their say early and
// altogether. Above it they are bright snow or cloud edges and keep a bounded say.
double say(double residual, double width) {
  if (residual >= 0) return residual < width ? 1.0 : width / residual;
  const double x = residual / (2.5 * width);
  if (x <= -1) return 0;
  const double y = 1 - x * x;
  return y * y;
}

/// Two days at one place, or two places, show the same obstacle.
bool agree(double more, double less) { return std::abs(more - less) < std::max(0.12, 0.35 * more); }

struct Weighted {
  double value, weight;
};

double quantile(std::vector<Weighted> v, double q) {
  std::sort(v.begin(), v.end(), [](const Weighted& a, const Weighted& b) { return a.value < b.value; });
  double total = 0;
  for (const auto& x : v) total += x.weight;
  double sum = 0;
  for (const auto& x : v) {
    sum += x.weight;
    if (sum >= q * total) return x.value;
  }
  return v.empty() ? 0 : v.back().value;
}

}  // namespace

struct Calibration::Fit {
  double lean_east = 0, lean_north = 0, haze = 0;
};

Calibration::Calibration(StringModel paper) : paper_(paper), corrected_(std::move(paper)) {}

double Calibration::hours() const {
  double minutes = 0;
  for (const auto& [day, d] : day_scales_) minutes += d.minutes;
  return minutes / 60;
}

double Calibration::uncertainty() const {
  return std::sqrt(0.02 * 0.02 + 0.15 * 0.15 / (1 + 2.5 * hours()) * (1 - 0.02 * 0.02 / (0.15 * 0.15)));
}

double Calibration::haze_factor(double airmass) const { return std::exp(-haze_ * (std::min(airmass, 8.0) - 2.0)); }

// ln of measured over paper that a plane and haze would give at a patch.
double Calibration::predicted(const Patch& p, const Fit& fit) const { return predicted(seen(p), fit); }

Calibration::Seen Calibration::seen(const Patch& p) const {
  Seen s;
  s.sun = sun::direction(p.elevation_deg, p.azimuth_deg);
  const double paper_cos = std::max(sky::cos_incidence(s.sun, paper_.normal()), 0.01);
  s.beam_over_cos = p.beam_share / (paper_cos * iam_beam(paper_cos, paper_.sheet().glass));
  s.rest = 1 - p.beam_share;
  s.airmass_over_2 = std::min(p.airmass, 8.0) - 2.0;
  return s;
}

double Calibration::predicted(const Seen& s, const Fit& fit) const {
  const double cos = std::max(sky::cos_incidence(s.sun, leaned(paper_.normal(), fit.lean_east, fit.lean_north)), 0.0);
  const double beam = s.beam_over_cos * cos * iam_beam(cos, paper_.sheet().glass);
  return std::log(std::max(s.rest + beam, 0.02)) - fit.haze * s.airmass_over_2;
}

void Calibration::learn(std::int32_t day, const sky::State& sky, const Expected& paper, double measured_w,
                        double weight, double may_be_covered) {
  if (!(paper.power_w > 0.03 * paper_.rated_w()) || !std::isfinite(measured_w) || measured_w < 0 || !(weight > 0)) return;
  const double ratio = measured_w / paper.power_w;
  if (ratio > 2) return;
  weight = std::min(weight, 1.0);
  Patch& p = patches_[patch_key(sky.sun.apparent_elevation_deg, sky.sun.azimuth_deg)];
  // Means with a memory of some 200 minutes, so that the patch follows the seasons' slow drift.
  const double part = weight / std::min(p.minutes + weight, 200.0);
  p.minutes += weight;
  p.elevation_deg += part * (sky.sun.apparent_elevation_deg - p.elevation_deg);
  p.azimuth_deg += part * (sky.sun.azimuth_deg - p.azimuth_deg);
  p.airmass += part * (sky.airmass_absolute - p.airmass);
  p.beam_share += part * (paper.beam_w / paper.power_w - p.beam_share);
  if (p.days.empty() || p.days.back().day != day) {
    if (!p.days.empty() && day < p.days.back().day) return;  // a day of the past has been closed
    p.days.push_back({day, 0, 0});
    if (p.days.size() > days_per_patch) p.days.erase(p.days.begin());
  }
  DayRatio& d = p.days.back();
  d.minutes += weight;
  d.ratio += (ratio - d.ratio) * weight / d.minutes;
  DayScale& scale = day_scales_[day];
  if (scale.minutes == 0) scale.scale = scale_;
  scale.minutes += weight;
  scale.covered += (may_be_covered - scale.covered) * weight / scale.minutes;
  while (static_cast<int>(day_scales_.size()) > days_kept) day_scales_.erase(day_scales_.begin());
  unfitted_minutes_ += weight;
  if (unfitted_minutes_ >= (settled() ? 30 : 15)) refit();
}

void Calibration::keep_best(std::int32_t day, const sky::State& sky, const Expected& paper, double ratio) {
  if (!(paper.power_w > 0.03 * paper_.rated_w()) || !(ratio >= 0) || ratio > 2) return;
  Patch& p = patches_[patch_key(sky.sun.apparent_elevation_deg, sky.sun.azimuth_deg)];
  if (p.minutes == 0) {
    p.elevation_deg = sky.sun.apparent_elevation_deg;
    p.azimuth_deg = sky.sun.azimuth_deg;
    p.airmass = sky.airmass_absolute;
    p.beam_share = paper.beam_w / paper.power_w;
  }
  p.best.push_back({day, ratio});
  if (p.best.size() > days_per_patch) p.best.erase(p.best.begin());
}

void Calibration::refit() {
  unfitted_minutes_ = 0;
  if (day_scales_.empty()) return;
  // Patches not seen for two months belong to another season's sky, and maybe to another tree.
  const std::int32_t oldest = day_scales_.rbegin()->first - days_kept;
  for (auto it = patches_.begin(); it != patches_.end();)
    it = (it->second.days.empty() || it->second.days.back().day < oldest) && (it->second.best.empty() || it->second.best.back().day < oldest)
             ? patches_.erase(it) : std::next(it);
  fit_plane_and_haze();
  fit_scale();
  fit_shade();
  apply();
}

// Weighted least squares by Gauss-Newton, three shared unknowns and a free level for every day, with priors
// that hold them near the sheet until much of the sky has been seen.
void Calibration::fit_plane_and_haze() {
  struct Row {
    std::size_t patch;
    double ln_ratio, weight;
  };
  std::map<std::int32_t, std::vector<Row>> by_day;
  std::vector<Seen> patches;
  std::array<double, patches_around> seen_min{};
  for (const auto& [key, p] : patches_) {
    bool used = false;
    for (const auto& d : p.days) {
      if (d.ratio < 0.05 || d.minutes < 1) continue;
      by_day[d.day].push_back({patches.size(), std::log(d.ratio), std::min(d.minutes / full_patch_min, 1.0)});
      used = true;
    }
    if (used) patches.push_back(seen(p));
    seen_min[key % patches_around] += p.minutes;
  }
  if (by_day.empty()) return;
  const double span_deg = patch_azimuth_deg * static_cast<double>(std::count_if(
                                                  seen_min.begin(), seen_min.end(), [](double m) { return m >= 5; }));
  const double open = std::clamp((span_deg - 15) / 60.0, 0.02, 1.0);
  const double along = 0.06 * open;
  const double turn = std::hypot(0.06, 0.25 * sun::sin_deg(paper_.sheet().plane.tilt_deg)) * open;
  const double turn_east = std::abs(sun::cos_deg(paper_.sheet().plane.azimuth_deg));
  const double sigma[3] = {std::hypot(turn * turn_east, along * std::sqrt(1 - turn_east * turn_east)),
                           std::hypot(turn * std::sqrt(1 - turn_east * turn_east), along * turn_east), 0.012 * open};

  const Fit before{lean_east_, lean_north_, haze_};
  Fit fit = before;
  std::vector<double> here(patches.size());
  std::vector<std::array<double, 3>> slope(patches.size());
  const auto tangent = [&] {
    constexpr double step = 1e-3;
    Fit east = fit, north = fit;
    east.lean_east += step;
    north.lean_north += step;
    for (std::size_t i = 0; i < patches.size(); ++i) {
      here[i] = predicted(patches[i], fit);
      slope[i] = {(predicted(patches[i], east) - here[i]) / step, (predicted(patches[i], north) - here[i]) / step,
                  -patches[i].airmass_over_2};
    }
  };
  std::map<std::int32_t, double> level;
  for (int round = 0; round < 6; ++round) {
    constexpr double widths[] = {0.30, 0.18, 0.11, 0.07, 0.07, 0.07};
    const double width = widths[round];
    tangent();
    // The level of a day: at first a high quantile (shade only takes away), then the robust mean.
    std::vector<Weighted> levels;
    for (const auto& [day, rows] : by_day) {
      double& l = level[day];
      if (round == 0) {
        std::vector<Weighted> v;
        for (const Row& r : rows) v.push_back({r.ln_ratio - here[r.patch], r.weight});
        l = quantile(std::move(v), 0.65);
      } else {
        double sum = 0, total = 0;
        for (const Row& r : rows) {
          const double base = r.ln_ratio - here[r.patch];
          const double w = r.weight * say(base - l, width);
          sum += w * base;
          total += w;
        }
        if (total > 0) l = sum / total;
      }
      levels.push_back({l, 1});
    }
    if (round == 0) continue;
    // A day far below the others was not a clean one: its shape says little about the plane.
    const double usual = quantile(std::move(levels), 0.6);

    // Normal equations of the shared unknowns, each day's level taken out of its rows.
    double a[3][4] = {};
    const double at[3] = {fit.lean_east, fit.lean_north, fit.haze};
    for (int k = 0; k < 3; ++k) {
      a[k][k] = 1 / (sigma[k] * sigma[k]);
      a[k][3] = -a[k][k] * at[k];
    }
    for (const auto& [day, rows] : by_day) {
      const double l = level[day];
      // Snow that melts through a day looks like a plane that leans west.
      const auto told = day_scales_.find(day);
      const double open_glass = told == day_scales_.end() ? 1 : 1 - 0.9 * told->second.covered;
      const double day_say = open_glass * say(std::min(l - usual, 0.0), 0.1) / (patch_sigma * patch_sigma);
      double sums[3][4] = {}, mean[4] = {}, total = 0;
      for (const Row& r : rows) {
        const double base = r.ln_ratio - here[r.patch];
        const double w = r.weight * say(base - l, width) * day_say;
        const double x[4] = {slope[r.patch][0], slope[r.patch][1], slope[r.patch][2], base - l};
        total += w;
        for (int m = 0; m < 4; ++m) mean[m] += w * x[m];
        for (int k = 0; k < 3; ++k)
          for (int m = 0; m < 4; ++m) sums[k][m] += w * x[k] * x[m];
      }
      if (total <= 0) continue;
      for (int k = 0; k < 3; ++k)
        for (int m = 0; m < 4; ++m) a[k][m] += sums[k][m] - mean[k] * mean[m] / total;
    }
    for (int k = 0; k < 3; ++k)  // no pivoting: the priors make the matrix positive definite
      for (int row = k + 1; row < 3; ++row) {
        const double f = a[row][k] / a[k][k];
        for (int m = k; m < 4; ++m) a[row][m] -= f * a[k][m];
      }
    double x[3];
    for (int k = 2; k >= 0; --k) {
      x[k] = a[k][3];
      for (int m = k + 1; m < 3; ++m) x[k] -= a[k][m] * x[m];
      x[k] /= a[k][k];
    }
    fit.lean_east = std::clamp(fit.lean_east + std::clamp(x[0], -0.1, 0.1), -lean_limit, lean_limit);
    fit.lean_north = std::clamp(fit.lean_north + std::clamp(x[1], -0.1, 0.1), -lean_limit, lean_limit);
    fit.haze = std::clamp(fit.haze + x[2], -haze_limit, haze_limit);
  }

  // Scale and plane stand for one figure, the power: what the plane now gives, the scale gives back.
  double shift = 0, shift_weight = 0;
  for (const auto& [day, rows] : by_day) {
    double own = 0;
    for (const Row& r : rows) {
      const double now = predicted(patches[r.patch], fit);
      shift += r.weight * (now - predicted(patches[r.patch], before));
      shift_weight += r.weight;
      own += r.weight * say(r.ln_ratio - now - level[day], 0.07);
    }
    // A day's level is the scale of that day, drawn to the present scale while it rests on little.
    own /= patch_sigma * patch_sigma;
    const double other = day_scales_.size() == 1 ? 0 : 1 / (day_sigma * day_sigma);
    const auto it = day_scales_.find(day);
    if (it != day_scales_.end() && own + other > 0)
      it->second.scale = std::clamp(std::exp((own * level[day] + other * std::log(scale_)) / (own + other)), day_scale_low,
                                    day_scale_high);
  }
  scale_ = std::clamp(scale_ * std::exp(-shift / shift_weight), scale_low, scale_high);
  lean_east_ = fit.lean_east;
  lean_north_ = fit.lean_north;
  haze_ = fit.haze;
}

// The scale: an upper quantile of the days. While it rests on a few days it may fall freely (the first may
// have been brightened by cloud edges), later ever more slowly: what falls slowly is dirt.
void Calibration::fit_scale() {
  std::vector<Weighted> v;
  for (const auto& [day, d] : day_scales_) v.push_back({d.scale, std::min(d.minutes / good_day_min, 1.0)});
  double wanted = quantile(v, 0.75);
  double good_days = 0;
  for (const auto& x : v) good_days += x.weight;
  // Thin snow on every day so far would look like a string that never made more.
  double uncovered = 0, covered = 0;
  for (const auto& [day, d] : day_scales_) {
    const double weight = std::min(d.minutes / good_day_min, 1.0);
    uncovered += weight * (1 - d.covered);
    covered += weight * d.covered;
  }
  if (wanted < 1 && covered > 0) {
    const double of_days = (uncovered + 0.25 * covered) / (day_sigma * day_sigma);
    const double of_paper = covered / (covered + uncovered) / (paper_sigma * paper_sigma);
    wanted = std::exp(std::log(wanted) * of_days / (of_days + of_paper));
  }
  const std::int32_t today = day_scales_.rbegin()->first;
  if (good_days > 4 && wanted < scale_) {
    const double per_day = std::max(0.06 / (good_days * good_days), 0.0003);
    const double passed = std::max(today - scale_day_, 0);
    wanted = std::max(wanted, scale_ * (1 - per_day * passed));
    if (passed == 0) wanted = scale_;
  }
  if (wanted != scale_) {
    scale_ = std::clamp(wanted, scale_low, scale_high);
    scale_day_ = today;
  } else if (scale_day_ == 0) {
    scale_day_ = today;
  }
}

void Calibration::fit_shade() {
  const Fit fit{lean_east_, lean_north_, haze_};
  const auto of_open = [&](const Patch& at, std::int32_t day, double ratio) {
    const auto it = day_scales_.find(day);
    return ratio / ((it == day_scales_.end() ? scale_ : it->second.scale) * std::exp(predicted(at, fit)));
  };
  for (auto& [key, p] : patches_) {
    std::vector<double> q;
    for (const auto& d : p.days) {
      if (d.minutes < 2) continue;
      q.push_back(of_open(p, d.day, d.ratio));
    }
    std::sort(q.begin(), q.end(), std::greater<>());
    p.shade_days = static_cast<int>(q.size());
    p.shade_total = q.empty() ? 1.0 : q.size() == 1 ? q[0] : q[(q.size() - 1) / 3];
    // One day alone may have been a fault. Two that agree may not.
    p.shade_agreed = q.size() >= 2 && agree(p.shade_total, q[(q.size() + 1) / 2]);
    p.shade_total = std::clamp(p.shade_total, 0.0, 1.05);
    if (p.shade_agreed || (!q.empty() && q[0] > never_above)) continue;
    // no calm minute tells; what it never exceeds may
    std::vector<double> best;
    for (const int row : {-1, 0, 1}) {   // the sun passes from row to row within days
      const auto beside = patches_.find(key + row * patches_around);
      if (beside == patches_.end()) continue;
      for (const auto& b : beside->second.best) best.push_back(of_open(beside->second, b.day, b.ratio));
    }
    std::sort(best.begin(), best.end(), std::greater<>());
    if (best.size() < best_days || best[0] > never_above || !agree(best[(best.size() - 1) / 3], best[(best.size() + 1) / 2])) continue;
    p.shade_total = std::clamp(best[(best.size() - 1) / 3], 0.0, 1.05);
    p.shade_days = static_cast<int>(best.size());
    p.shade_agreed = true;
  }
}

void Calibration::apply() {
  StringSheet sheet = paper_.sheet();
  sheet.plane = plane_of(leaned(paper_.normal(), lean_east_, lean_north_), sheet.plane);
  sheet.module.rated_w *= scale_;
  if (sheet.module.i_mp_a) *sheet.module.i_mp_a *= scale_;
  if (sheet.module.i_sc_a) *sheet.module.i_sc_a *= scale_;
  if (!sheet.module.v_mp_v) sheet.module.v_mp_v = paper_.module().rated_v_mp_v();
  if (!sheet.module.v_oc_v) sheet.module.v_oc_v = paper_.module().rated_v_oc_v();
  corrected_ = StringModel(sheet);
}

// The sun crosses a row of patches within days: what the row beside it knows holds here too.
const Calibration::Patch* Calibration::patch_at(double elevation_deg, double azimuth_deg) const {
  const Patch* best = nullptr;
  for (const double beside : {0.0, patch_elevation_deg, -patch_elevation_deg}) {
    const double e = elevation_deg + beside;
    if (e < 0) continue;
    const auto it = patches_.find(patch_key(e, azimuth_deg));
    if (it == patches_.end()) continue;
    if (!best || (!best->shade_agreed && it->second.shade_agreed)) best = &it->second;
    if (best->shade_agreed) break;
  }
  return best;
}

Shade Calibration::shade(double elevation_deg, double azimuth_deg) const {
  const Patch* best = patch_at(elevation_deg, azimuth_deg);
  Shade s;
  if (best) {
    s.days = best->shade_days;
    s.seen = s.days > 0 ? best->shade_total : 0;
    s.known = best->shade_agreed;
    s.total = best->shade_total;
  }
  if (!s.known) {
    // an obstacle does not end in a gap of one patch
    const Patch* before = patch_at(elevation_deg, azimuth_deg - patch_azimuth_deg);
    const Patch* after = patch_at(elevation_deg, azimuth_deg + patch_azimuth_deg);
    const auto same = [&](const Patch* p) { return p && p->shade_agreed && s.days > 0 && std::max(p->shade_total, s.total) < gap_below && agree(std::max(p->shade_total, s.total), std::min(p->shade_total, s.total)); };
    if (before && after && before->shade_agreed && after->shade_agreed && std::max(before->shade_total, after->shade_total) < gap_below) {
      s.total = (before->shade_total + after->shade_total) / 2;
      s.known = true;
      best = before;
    } else {
      s.known = same(before) || same(after);
    }
  }
  if (!s.known) {
    s.total = 1;
    return s;
  }
  const double diffuse_share = std::max(1 - best->beam_share, 0.01);
  // A cloudless sky beside the sun is two to three times brighter than the model's, measured.
  constexpr double typical_rest = 2.5;
  const double rest = std::clamp(1 + (1 - s.total) / 0.5 * (typical_rest - 1), 1.0, typical_rest);
  const double beam = best->beam_share > 0.01 ? (s.total - rest * diffuse_share) / best->beam_share : s.total;
  s.beam = std::clamp(beam, 0.0, 1.05);
  s.diffuse = std::clamp((s.total - s.beam * best->beam_share) / diffuse_share, 0.3, 6.0);
  return s;
}

CalibratedPower Calibration::power(const sky::State& sky, const Weather& weather, double bank_v) const {
  CalibratedPower p;
  p.open = expected(corrected_, sky, weather, bank_v);
  const double haze = 1 + (haze_factor(sky.airmass_absolute) - 1) * std::clamp(sky.clear_share, 0.0, 1.0);
  const double cap_w = controller_limit_w(paper_.sheet().controller, bank_v);
  p.open.power_w *= haze;
  p.open.beam_w *= haze;
  p.open.diffuse_w *= haze;
  p.open.i_mp_a *= haze;
  p.open.limited_w = std::min(p.open.power_w, cap_w);
  p.shade = shade(sky.sun.apparent_elevation_deg, sky.sun.azimuth_deg);
  // Under cloud the light from elsewhere hardly knows of the obstacle.
  const double rest = 1 + (p.shade.diffuse - 1) * std::clamp(sky.clear_share, 0.0, 1.0);
  p.power_w = p.open.beam_w * p.shade.beam + p.open.diffuse_w * rest;
  p.limited_w = std::min(p.power_w, cap_w);
  return p;
}

std::string Calibration::explanation() const {
  if (day_scales_.empty()) return "Nothing learned yet: the string as described is taken.";
  const double h = hours();
  std::string text = "Makes " + fixed(100 * scale_, 0) + " % of what its rating says on clear days";
  const sky::Plane& was = paper_.sheet().plane;
  const double turned = std::acos(sky::cos_incidence(corrected_.normal(), paper_.normal())) * sun::deg_per_rad;
  if (turned >= 1)
    text += ", on a plane of " + fixed(plane().tilt_deg, 0) + " degrees toward " + fixed(plane().azimuth_deg, 0) +
            " (described: " + fixed(was.tilt_deg, 0) + " toward " + fixed(was.azimuth_deg, 0) + ")";
  text += ".";
  std::map<int, bool> shaded;
  for (const auto& [key, p] : patches_)
    if (p.shade_agreed && p.shade_total < 0.85) shaded[key % patches_around] = true;
  if (!shaded.empty()) {
    text += " Fixed shade with the sun at";
    for (auto it = shaded.begin(); it != shaded.end();) {
      const int first = it->first;
      int last = first;
      for (++it; it != shaded.end() && it->first <= last + 2; ++it) last = it->first;
      text += (text.back() == 't' ? " " : ", ") + fixed(first * patch_azimuth_deg, 0) + " to " +
              fixed((last + 1) * patch_azimuth_deg, 0);
    }
    text += " degrees.";
  }
  text += " Learned in " + fixed(h, h < 10 ? 1 : 0) + " clear hours on " + fixed(days(), 0) +
          (days() == 1 ? " day" : " days") + ", good to about " + fixed(100 * uncertainty(), 0) + " %.";
  return text;
}

void Calibration::forget_shade() {
  patches_.clear();
}

void Calibration::stand_on(const sky::Plane& plane) {
  paper_ = paper_.on(plane);
  lean_east_ = lean_north_ = 0;
  patches_.clear();
  apply();
}

void Calibration::reset() { *this = Calibration(paper_); }

// firnwatt-calibration 1;scale;east;north;haze;scale day;unfitted|day:minutes:scale:covered ...|key:minutes:elevation:
// azimuth:air mass:beam share:day,minutes,ratio ... day,best ratio ...
std::string Calibration::snapshot() const {
  std::string t = "firnwatt-calibration 1;" + fixed(scale_, 6) + ";" + fixed(lean_east_, 6) + ";" + fixed(lean_north_, 6) +
                  ";" + fixed(haze_, 6) + ";" + std::to_string(scale_day_) + ";" + fixed(unfitted_minutes_, 2) + "|";
  bool first = true;
  for (const auto& [day, d] : day_scales_) {
    if (!first) t += ' ';
    first = false;
    t += std::to_string(day) + ":" + fixed(d.minutes, 1) + ":" + fixed(d.scale, 5) + ":" + fixed(d.covered, 3);
  }
  t += "|";
  first = true;
  for (const auto& [key, p] : patches_) {
    if (!first) t += ' ';
    first = false;
    t += std::to_string(key) + ":" + fixed(p.minutes, 1) + ":" + fixed(p.elevation_deg, 3) + ":" +
         fixed(p.azimuth_deg, 3) + ":" + fixed(p.airmass, 3) + ":" + fixed(p.beam_share, 4);
    for (const auto& d : p.days)
      t += ":" + std::to_string(d.day) + "," + fixed(d.minutes, 1) + "," + fixed(d.ratio, 5);
    for (const auto& b : p.best) t += ":" + std::to_string(b.day) + "," + fixed(b.ratio, 4);
  }
  return t;
}

namespace {

std::vector<std::string_view> parts(std::string_view text, char separator) {
  std::vector<std::string_view> out;
  if (text.empty()) return out;
  for (;;) {
    const auto at = text.find(separator);
    out.push_back(text.substr(0, at));
    if (at == std::string_view::npos) return out;
    text.remove_prefix(at + 1);
  }
}

/// Numbers of a record, within bounds, or nothing.
std::optional<double> number(std::string_view text, double low, double high) {
  const auto v = number_in(text);
  if (!v || *v < low || *v > high) return std::nullopt;
  return v;
}

}  // namespace

Result<void> Calibration::restore(std::string_view text) {
  const auto bad = [](const char* what) { return Fault{"calibration", what}; };
  const auto blocks = parts(text, '|');
  if (blocks.size() != 3) return bad("not a snapshot of firnwatt's calibration");
  const auto head = parts(blocks[0], ';');
  if (head.size() != 7 || head[0] != "firnwatt-calibration 1") return bad("snapshot of an unknown version");
  Calibration fresh(paper_);
  const auto scale = number(head[1], scale_low, scale_high), east = number(head[2], -lean_limit, lean_limit),
             north = number(head[3], -lean_limit, lean_limit), haze = number(head[4], -haze_limit, haze_limit),
             day = number(head[5], -1e6, 1e6), unfitted = number(head[6], 0, 1e6);
  if (!scale || !east || !north || !haze || !day || !unfitted) return bad("a figure at its head is missing or out of range");
  fresh.scale_ = *scale;
  fresh.lean_east_ = *east;
  fresh.lean_north_ = *north;
  fresh.haze_ = *haze;
  fresh.scale_day_ = static_cast<std::int32_t>(*day);
  fresh.unfitted_minutes_ = *unfitted;
  for (const auto record : parts(blocks[1], ' ')) {
    const auto f = parts(record, ':');
    if (f.size() != 3 && f.size() != 4) return bad("a day is not readable");
    const auto d = number(f[0], -1e6, 1e6), minutes = number(f[1], 0, 1e6), s = number(f[2], day_scale_low, day_scale_high),
               covered = f.size() > 3 ? number(f[3], 0, 1) : 0.0;
    if (!d || !minutes || !s || !covered) return bad("a day is out of range");
    fresh.day_scales_[static_cast<std::int32_t>(*d)] = {*minutes, *s, *covered};
  }
  for (const auto record : parts(blocks[2], ' ')) {
    const auto f = parts(record, ':');
    if (f.size() < 6 || f.size() > 6 + 2 * days_per_patch) return bad("a patch of sky is not readable");
    const auto key = number(f[0], 0, 46 * patches_around), minutes = number(f[1], 0, 1e7), el = number(f[2], -1, 90.5),
               az = number(f[3], 0, 360), am = number(f[4], 0, 40), share = number(f[5], 0, 1);
    if (!key || !minutes || !el || !az || !am || !share) return bad("a patch of sky is out of range");
    Patch p;
    p.minutes = *minutes;
    p.elevation_deg = *el;
    p.azimuth_deg = *az;
    p.airmass = *am;
    p.beam_share = *share;
    for (std::size_t i = 6; i < f.size(); ++i) {
      const auto g = parts(f[i], ',');
      if (g.size() == 2) {
        const auto d = number(g[0], -1e6, 1e6), r = number(g[1], 0, 2);
        if (!d || !r) return bad("a day of a patch is out of range");
        p.best.push_back({static_cast<std::int32_t>(*d), *r});
        continue;
      }
      if (g.size() != 3) return bad("a day of a patch is not readable");
      const auto d = number(g[0], -1e6, 1e6), m = number(g[1], 0, 1e6), r = number(g[2], 0, 2);
      if (!d || !m || !r) return bad("a day of a patch is out of range");
      p.days.push_back({static_cast<std::int32_t>(*d), *m, *r});
    }
    fresh.patches_[static_cast<int>(*key)] = std::move(p);
  }
  fresh.fit_shade();
  fresh.apply();
  *this = std::move(fresh);
  return {};
}

}  // namespace fw::roof

#include "score/generated/weather.h"

#include <algorithm>
#include <cmath>

#include "score/generated/dice.h"

namespace fw::score {

namespace {

/// A value that wanders about zero with deviation 1 and forgets within tau minutes.
class Wander {
 public:
  explicit Wander(double tau_min) : keep_(std::exp(-1 / tau_min)) {}
  double step(Dice& d) { return x_ = keep_ * x_ + std::sqrt(1 - keep_ * keep_) * d.normal(); }

 private:
  double keep_, x_ = 0;
};

/// Cumulus that come and go: whether the sun stands behind one now.
class Cumulus {
 public:
  double step(Dice& d, double share, double pace_min) {
    if (--left_ <= 0) {
      covered_ = !covered_;
      const double mean = pace_min * (covered_ ? share : 1 - share) * 2;
      left_ = std::max(1.0, mean * std::exp(0.7 * d.normal()));
      // A sky has thin and thick ones, and gaps that are not wide open.
      through_ = covered_ ? (d.chance(0.25) ? d.between(0.2, 0.7) : d.between(0, 0.15)) : (d.chance(0.15) ? d.between(0.7, 0.95) : 1);
    }
    return through_;
  }
  bool covered() const { return covered_; }

 private:
  bool covered_ = false;
  double left_ = 2, through_ = 1;
};

}  // namespace

std::vector<WeatherMinute> weather_of(const Scene& s) {
  Dice d(s.seed, std::string("weather ") + name(s.family));
  std::vector<WeatherMinute> out(static_cast<std::size_t>(s.minutes()));
  std::vector<const Spell*> sky(out.size(), nullptr);
  for (const Spell& p : s.spells)
    for (long i = std::max(0L, p.from_min); i < std::min(s.minutes(), p.to_min); ++i) sky[static_cast<std::size_t>(i)] = &p;
  std::vector<double> snow(out.size(), 0), rain(out.size(), 0);
  for (const Fall& f : s.falls) {
    // Showers: the rate wanders, the sum is as planned.
    Wander rate(25);
    std::vector<double> share;
    double sum = 0;
    for (long i = f.from_min; i < f.to_min; ++i) {
      share.push_back(std::exp(0.8 * rate.step(d)));
      sum += share.back();
    }
    for (long i = std::max(0L, f.from_min); i < std::min(s.minutes(), f.to_min); ++i)
      (f.rain ? rain : snow)[static_cast<std::size_t>(i)] += f.amount * share[static_cast<std::size_t>(i - f.from_min)] / sum;
  }
  Wander synoptic(2200), haze(900), slow(18), mid(5), quick(1.2), veil(22), breeze(60), pace(120);
  Cumulus cumulus;
  double beam = 1, diffuse = 1, extra = 0, warm = 0, ground = 0;
  for (long i = 0; i < s.minutes(); ++i) {
    const auto n = static_cast<std::size_t>(i);
    WeatherMinute& w = out[n];
    const Spell& p = *sky[n];
    const double x_slow = slow.step(d), x_mid = mid.step(d), x_quick = quick.step(d), x_veil = veil.step(d), x_pace = pace.step(d);
    double to_beam = 1, to_diffuse = 1, to_extra = 0;
    switch (p.sky) {
      case Sky::clear:
        to_beam = 1 - 0.002 * std::abs(x_mid);
        break;
      case Sky::cirrus: {
        const double depth = (0.05 + 0.3 * p.depth) * std::exp(0.5 * x_veil + 0.12 * x_mid);
        to_beam = std::exp(-depth);
        to_extra = 0.55 * (1 - to_beam);
        w.cover = 0.2 + 0.5 * p.depth;
        break;
      }
      case Sky::broken: {
        const double share = 0.15 + 0.65 * p.depth;
        to_beam = cumulus.step(d, share, 3.5 * std::exp(0.5 * x_pace));
        to_diffuse = 1 + 0.5 * share;
        to_extra = 0.10 * share * (1 + 0.5 * x_mid) + (cumulus.covered() ? 0.12 : 0.10) * (1 + 0.3 * x_quick);
        w.cover = share;
        break;
      }
      case Sky::overcast: {
        const double k = std::clamp((0.13 + 0.42 * std::pow(p.depth, 1.3)) * std::exp(0.38 * x_slow + 0.10 * x_mid + 0.02 * x_quick), 0.04, 0.75);
        to_beam = 0;
        to_diffuse = 0;
        to_extra = k;
        w.cover = 0.95 + 0.05 * p.depth;
        break;
      }
      case Sky::fog:
        to_beam = 0;
        to_diffuse = 0;
        to_extra = (0.14 + 0.22 * p.depth) * std::exp(0.12 * x_slow + 0.006 * x_quick);
        w.cover = 0.9;
        break;
    }
    if (snow[n] > 0) to_extra = std::max(0.05, to_extra * std::exp(-std::min(0.9, snow[n] * 60 * 0.3)));
    const bool settled = p.sky == Sky::overcast || p.sky == Sky::fog;
    const double follow = p.sky == Sky::broken ? d.between(0.45, 1) : settled ? 0.25 : 0.35;
    beam += follow * (to_beam - beam);
    diffuse += 0.3 * (to_diffuse - diffuse);
    extra += follow * (to_extra - extra);
    w.beam = std::clamp(beam, 0.0, 1.0);
    w.diffuse = std::max(0.0, diffuse);
    w.extra = std::max(0.0, extra);

    const double solar_hour = std::fmod(static_cast<double>(i) / 60 + s.lon / 15 - s.zone_hours + 48, 24);
    // Rain needs a mild spell, snow a cold one; either comes and goes over half a day.
    double push = 0;
    for (const Fall& f : s.falls) {
      const double before = static_cast<double>(f.from_min - i), after = static_cast<double>(i - f.to_min);
      const double near = std::clamp(1 - std::max({before, after, 0.0}) / 500, 0.0, 1.0);
      const double base = s.mean_air_c + 1;
      if (f.rain) push += near * std::max(0.0, 3.5 - base);
      else push -= near * std::max(0.0, base + 2.0);
    }
    warm += 0.01 * (push - warm);
    w.air_c = s.mean_air_c + 3.0 * synoptic.step(d) + warm + s.swing_k * (1 - 0.7 * w.cover) * std::cos((solar_hour - 14.5) / 24 * 6.2832) + 0.05 * x_quick;
    if (rain[n] > 0) w.air_c = std::max(w.air_c, 1.0);
    if (snow[n] > 0) w.air_c = std::min(w.air_c, 0.6);
    w.wind_ms = std::max(0.2, 2 + 1.5 * breeze.step(d));
    w.snow_cm = snow[n];
    w.rain_mm = rain[n];
    ground = std::clamp(ground + snow[n] / 2 - std::max(0.0, w.air_c) * 2e-4 - rain[n] * 0.05, 0.0, 3.0);
    w.albedo = s.ground_albedo + (0.72 - s.ground_albedo) * std::min(1.0, ground);
    const double h = haze.step(d);
    w.aerosol = s.aerosol * std::exp(0.25 * h);
    w.water_cm = s.water_cm * std::exp(0.2 * h);
  }
  return out;
}

std::vector<OutlookHour> outlook_of(const Scene& s, const std::vector<WeatherMinute>& weather, long issued) {
  Dice d(s.seed * 7919 + static_cast<std::uint64_t>(issued), "outlook");
  std::vector<OutlookHour> out(72);
  Wander cloudy(6), warmth(12);
  // A fall that the forecast has wrong is wrong each time, by hours and by amount.
  std::vector<double> snow(weather.size(), 0);
  for (std::size_t k = 0; k < s.falls.size(); ++k) {
    const Fall& f = s.falls[k];
    if (f.rain || !f.forecast) continue;
    Dice e(s.seed * 31 + k, "fall");
    const long shift = std::lround(e.about(80, 200));
    const double factor = std::exp(e.about(0.35, 0.8));
    for (long i = f.from_min; i < f.to_min; ++i)
      if (i + shift >= 0 && i + shift < s.minutes()) snow[static_cast<std::size_t>(i + shift)] += f.amount * factor / static_cast<double>(f.to_min - f.from_min);
  }
  for (int h = 0; h < 72; ++h) {
    double cover = 0, air = 0, cm = 0;
    int n = 0;
    for (long i = issued + h * 60L; i < issued + (h + 1) * 60L && i < s.minutes(); ++i, ++n) {
      cover += weather[static_cast<std::size_t>(i)].cover;
      air += weather[static_cast<std::size_t>(i)].air_c;
      cm += snow[static_cast<std::size_t>(i)];
    }
    const double vague = 0.06 + 0.003 * h, c = cloudy.step(d), t = warmth.step(d);
    OutlookHour& o = out[static_cast<std::size_t>(h)];
    o.cloud = std::clamp((n ? cover / n : 0.4) + 2 * vague * c, 0.0, 1.0);
    o.air_c = (n ? air / n : s.mean_air_c) + (0.6 + 0.02 * h) * t;
    o.snow_cm = cm;
  }
  return out;
}

}  // namespace fw::score

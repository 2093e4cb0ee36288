// Where the clear-sky watts of a minute went. From the sky down: cloud, fixed shade, what lies on the glass, and
// last what the controller or a fault kept back.
#include <algorithm>
#include <cmath>
#include <utility>

#include "diagnosis/state.h"
#include "sky/cloud.h"

namespace fw::diagnosis {

namespace {

constexpr double free_below = 0.3;    ///< of the belief that output is held back
constexpr double no_chance = 0.05;
constexpr double least_doubt = 1 - cloud_below;  ///< of clear-sky power: less is not called a cloud either
constexpr double hides_above = 0.5;   ///< of the chance that a hill stands before the sun
constexpr double snows_above = 0.4;   ///< of the chance that snow falls now
constexpr double snow_cloud_share = 0.16;  ///< of clear-sky light below a nimbostratus; Kasten & Czeplak 1980, from memory
constexpr double comes_and_goes = 0.03;    ///< flicker of the light from which a surplus or lack is the clouds'

/// A string that is free to make what its glass lets through is a witness of the sky; one under snow, held back, dead or with
/// the sun too low, where a hill dims it like a cloud, is not.
bool shows_the_sky(const StringMemory& s, double held_back) {
  const Cause c = s.opinion.cause;
  return s.look.usable && s.look.carries() && held_back < free_below && s.verdict.cause != Cause::dark &&
         (c == Cause::clear || c == Cause::cloud || c == Cause::shade || c == Cause::soiling);
}

LossSplit split_of(const Verdict& v, const Opinion& o, double open_w, double film_loss, double behind, bool bank_cold) {
  LossSplit s;
  s.cloud_w = v.clear_sky_w - open_w;
  s.shade_w = open_w - v.expected_w;
  if (!v.measured_w) {
    s.no_data_w = v.clear_sky_w - s.cloud_w - s.shade_w;
    return s;
  }
  s.made_w = *v.measured_w;
  double rest = v.expected_w - s.made_w;
  // a film lies under whatever else there is; under snow it hardly counts
  const double film_w = rest > 0 ? std::min(rest, film_loss * v.expected_w) : 0;
  const auto take_film = [&] {
    s.soiling_w = film_w;
    rest -= film_w;
  };
  switch (v.cause) {
    case Cause::snow: s.snow_w = rest; break;
    case Cause::soiling: s.soiling_w = rest; break;
    case Cause::shade: s.shade_w += rest; break;
    case Cause::curtailed:
      take_film();
      (bank_cold ? s.cold_w : s.curtailed_w) = rest;
      break;
    case Cause::outage:
      take_film();
      s.outage_w = rest;
      break;
    case Cause::stale: s.no_data_w = rest; break;
    case Cause::unsure: s.unexplained_w = rest; break;
    case Cause::cloud:
    case Cause::clear:
    case Cause::dark: {
      take_film();
      // What the sky as believed leaves over is what the other explanations, each with its chance, take; where none
      // has a chance it is the sky after all.
      const double snow = o.probability[static_cast<std::size_t>(Cause::snow)];
      const double shade = std::max(behind, o.probability[static_cast<std::size_t>(Cause::shade)]);
      if (rest > 0 && snow + shade > no_chance) {
        s.snow_w = rest * snow / (snow + shade);
        s.shade_w += rest - s.snow_w;
      } else {
        s.cloud_w += rest;
      }
      break;
    }
  }
  // the sum is exact by construction; rounding of the additions goes where nobody is blamed
  s.unexplained_w += v.clear_sky_w - s.sum();
  return s;
}

}  // namespace

void Diagnosis::State::book(const std::vector<double>& open_w, bool bank_cold) {
  bool seen = site_look.irradiance_share.has_value();
  for (std::size_t i = 0; i < strings.size(); ++i) seen |= shows_the_sky(strings[i], filter.state().strings[i].held_back);
  for (std::size_t i = 0; i < strings.size(); ++i) {
    StringMemory& s = strings[i];
    Verdict& v = s.verdict;
    const double most = std::max(v.clear_sky_w, s.look.limit_w);
    double open = std::min(open_w[i], most);
    // Nobody sees the sky: covered glass and a resting controller say nothing of it, a forecast does. While snow
    // falls the sky is darker than its cloud cover says.
    const bool behind_hill = v.cause == Cause::dark && site_look.hidden > hides_above;
    if ((!seen || behind_hill) && site_look.forecast_cloud >= 0 && v.clear_sky_w > 0 && open > 0) {
      const double share = sky::share_under_cloud(site_look.forecast_cloud);
      double forecast = (share + site_look.snowing * std::min(0.0, snow_cloud_share - share)) * v.clear_sky_w;
      if (site_look.snowing > snows_above) forecast = std::min(forecast, open);
      forecast = std::max(forecast, std::min(v.measured_w.value_or(0), most));
      open = forecast;
      v.expected_w = open * s.look.shade_total;
      if (v.expected_w > 1 && v.measured_w) v.performance_index = *v.measured_w / v.expected_w;
    }
    const double low_behind = v.cause == Cause::dark ? site_look.hidden : 0;
    v.split = split_of(v, s.opinion, open, s.film.known() ? std::max(0.0, s.film.loss()) : 0, low_behind, bank_cold);
    // Where the string makes what it could in still light, a few per cent too little or too much are the model's, not a cloud's.
    const bool still = !motion.known || motion.flicker <= comes_and_goes;
    if (v.cause == Cause::clear && still && std::abs(v.split.cloud_w) < std::max(least_doubt, s.calibration.uncertainty()) * v.clear_sky_w)
      v.split.unexplained_w += std::exchange(v.split.cloud_w, 0);
  }
}

}  // namespace fw::diagnosis

#include "diagnosis/light_sensor.h"

#include <algorithm>
#include <cmath>

namespace fw::diagnosis {

namespace {

constexpr double nearly_clear = 1.15;    // a light sensor under a clear sky reads no further off
constexpr double sensor_sd = 0.08;        // ln; of a light sensor's own scale and of the clear-sky model
constexpr double sensor_apart = 0.7;      // of the light's spread: the sensor stands elsewhere, or tells means
constexpr double dimmed_else = 0.03, dimmed_under_snow = 0.4, dimmed_for_min = 240;   ///< chances that a light sensor is; minutes until that is thought anew; estimates
constexpr double sensor_news = 0.05, pass_follows = 0.02;   ///< a minute
constexpr double least_dimmed_ln = -0.5;

double sound_likelihood(double share, const SkyShares& sky, std::size_t node, double sd) {
  return (node < under_sky ? irradiance_likelihood : irradiance_behind_likelihood)(share, sky.global[node], sd);
}

}  // namespace

double irradiance_sd(const Motion& motion) { return motion.known ? std::hypot(sensor_sd, sensor_apart * motion.spread) : sensor_sd; }

double irradiance_likelihood(double share, double at_node, double sd) {
  return normal_density(std::log(std::max(share, 0.005)), std::log(std::max(at_node, 0.005)), sd);
}

double irradiance_behind_likelihood(double share, double at_node, double sd) {
  const double beyond = irradiance_likelihood(share, std::clamp(share, 1 / nearly_clear, nearly_clear), sd);
  return std::max({irradiance_likelihood(share, at_node, sd), beyond, irradiance_unknown_likelihood});
}

double LightSensor::dimmed_likelihood(double share, double at_node, double sd) const {
  return met ? irradiance_likelihood(share, at_node * std::exp(pass_ln), sd) : irradiance_unknown_likelihood;
}

std::array<double, share_count> LightSensor::says(double share, const SkyShares& sky, double sd, bool covered) {
  const double usual = covered ? dimmed_under_snow : dimmed_else;
  dimmed = dimmed <= 0 ? usual : dimmed + (usual - dimmed) / dimmed_for_min;
  std::array<double, share_count> out;
  for (std::size_t k = 0; k < share_count; ++k)
    out[k] = (1 - sensor_news) * ((1 - dimmed) * sound_likelihood(share, sky, k, sd) + dimmed * dimmed_likelihood(share, sky.global[k], sd)) +
             sensor_news * irradiance_unknown_likelihood;
  return out;
}

void LightSensor::learn(double share, const SkyShares& sky, double sd, const std::array<double, share_count>& light) {
  double sum = 0, dim_sum = 0, news = 0, pass = 0;
  for (std::size_t k = 0; k < share_count; ++k) {
    if (light[k] <= 0) continue;
    const double sound = (1 - dimmed) * sound_likelihood(share, sky, k, sd), dim = dimmed * dimmed_likelihood(share, sky.global[k], sd);
    const double unknown = sensor_news / (1 - sensor_news) * irradiance_unknown_likelihood, all = sound + dim + unknown;
    sum += light[k];
    dim_sum += light[k] * (dim + unknown) / all;
    news += light[k] * (met ? unknown : dim + unknown) / all;
    pass += light[k] * std::log(std::max(share, 0.005) / std::max(sky.global[k], 0.005));
  }
  if (sum <= 0) return;
  dimmed = std::clamp(dim_sum / sum, 1e-3, 1 - 1e-3);
  const double follows = met ? std::max(pass_follows, news / sum) : 1;
  // less than that is its own scale; nothing that lies on it makes it show more
  pass_ln = std::min(least_dimmed_ln, pass_ln + follows * (pass / sum - pass_ln));
  met = true;
}

}  // namespace fw::diagnosis

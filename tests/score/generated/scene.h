#pragma once
// An invented rig at an invented place, and what will happen to it. A family says what the weeks are rich in;
// the seed picks everything else. Test only.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "score/generated/electric.h"

namespace fw::score {

enum class Family { ordinary, outages, soiling, shade, thin_snow, quiet };
inline constexpr Family families[] = {Family::ordinary, Family::outages, Family::soiling, Family::shade, Family::thin_snow, Family::quiet};
const char* name(Family f);
std::optional<Family> family_in(const std::string& text);

/// Something near that the sun passes behind: between two azimuths, below an elevation.
struct Obstacle {
  int string = 0;
  double from_az = 0, to_az = 0;
  double top_el = 20, bottom_el = -1;   ///< a lamp arm or a branch leaves light below
  double soft_deg = 1.0;                ///< how blurred its edge is
  double dense = 1.0;                   ///< a bare tree lets some light through
  bool by_parts = true;                 ///< its edge walks over the string part by part
};

struct StringScene {
  std::string id;
  Cells paper, real;
  double tilt_deg = 2, azimuth_deg = 180;             ///< as described
  double real_tilt_deg = 2, real_azimuth_deg = 180;
  double max_w = 1000, max_a = 60;
  double first_soiling = 0.01;
  bool clears_easily = false;                          ///< steep enough to shed
};

enum class Mishap { open, breaker_by_hand, branch_lost, controller_fault, controller_silent, frozen, broker_gap, absurd };
struct MishapAt {
  Mishap kind = Mishap::open;
  int string = 0;                                      ///< -1: all
  long from_min = 0, to_min = 0;
};

enum class Sky { clear, cirrus, broken, overcast, fog };
struct Spell {
  long from_min = 0, to_min = 0;
  Sky sky = Sky::clear;
  double depth = 0.5;                                  ///< how much of it, 0..1
};
struct Fall {
  long from_min = 0, to_min = 0;
  double amount = 1;                                   ///< cm of snow, or mm of rain
  bool rain = false;
  bool forecast = true;
};
struct Handwork {
  long at_min = 0;
  int string = 0;
  double share = 1;                                    ///< of the snow taken away
  bool leaves_ice = false;
  bool washes = false;
};
struct Dust {
  long from_min = 0, to_min = 0;
  double loss = 0.05;
};

struct Scene {
  Family family{};
  std::uint64_t seed = 0;
  double lat = 45, lon = 7, altitude_m = 500;
  int zone_hours = 1;                                  ///< standard time, no summer time
  long long start_unix_s = 0;                          ///< a local midnight
  int days = 14;
  double aerosol = 0.06, water_cm = 0.5;
  double mean_air_c = -3, swing_k = 4;
  double hill_diffuse = 1.3;                           ///< light left behind a hill, over the sky's own diffuse
  std::vector<double> hills_deg;                       ///< horizon, one per 5 degrees of azimuth
  double ground_albedo = 0.2;
  std::vector<StringScene> strings;
  std::vector<Obstacle> obstacles;
  std::vector<Spell> spells;
  std::vector<Fall> falls;
  std::vector<Handwork> handwork;
  std::vector<Dust> dust;
  std::vector<MishapAt> mishaps;
  std::vector<double> frost_by_day;                    ///< loss at dawn, 0 for none
  double soiling_per_day = 0.001;

  double bank_ah = 300, bank_v = 12.8;
  double first_soc = 0.6, base_load_w = 60, evening_load_w = 100;
  double cabin_c = 15, cell_hours = 12, lower_limit_c = 0, upper_limit_c = 48, preferred_floor_c = 5;
  double cold_lift_k = 4;                              ///< an unheated cabin over the air
  bool cold_cabin = false, feeds_loads_when_held = false;
  bool has_outlook = true;
  double efficiency = 0.965;

  double horizon_deg(double azimuth_deg) const;
  long minutes() const { return days * 1440L; }
};

Scene scene_of(Family family, std::uint64_t seed, int days = 0);

}  // namespace fw::score

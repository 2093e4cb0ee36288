#pragma once
// What lies on the glass of a string and what stands before it: snow by the part, rime, film, shadows. Test only.
#include <vector>

#include "score/generated/dice.h"
#include "score/generated/light.h"
#include "score/generated/scene.h"
#include "score/generated/weather.h"

namespace fw::score {

class Glass {
 public:
  Glass(const Scene& scene, int string);
  /// One minute on: falls, melts, slides, thaws. `poa`: light in the plane, W/m2, before anything on the glass.
  void step(const WeatherMinute& w, long minute, double poa, double sun_elevation_deg);
  void by_hand(const Handwork& h);
  void dust(double loss) { film_ = 1 - (1 - film_) * (1 - loss); }

  /// Light by row and part: in front of the glass with shadows, and the share that snow lets through.
  std::vector<std::vector<double>> shaded(const PlaneLight& light, const SunAt& sun) const;
  std::vector<std::vector<double>> bare(const PlaneLight& light) const;
  const std::vector<std::vector<double>>& snow_pass() const { return pass_; }
  double film() const { return film_; }
  double rime() const { return rime_; }
  double depth_cm() const;
  double covered() const;
  /// Part of the string slid free in the minute just gone.
  bool slid() const { return slid_; }

 private:
  struct Part {
    double cm = 0;
    double ice = 0;
    double take = 1;      ///< drift: more here, less there
    double slide_at = 0;  ///< minutes of soft snow it bears
    double soft = 0;
  };
  void settle();
  const Scene& scene_;
  int string_;
  Dice d_;
  std::vector<std::vector<Part>> parts_;
  std::vector<std::vector<double>> pass_;
  double film_ = 0, rime_ = 0, season_film_ = 0;
  double melts_at_ = 1, trace_ = 0.01;
  bool slid_ = false;
};

}  // namespace fw::score

#pragma once
// What the bank's own word teaches about the counting: what comes and goes unseen, what a full bank still draws, and
// how far off the plans of a day ago were.
#include <deque>
#include <optional>
#include <string>
#include <string_view>

#include "units/time.h"

namespace fw::outlook {

class Hindsight {
 public:
  explicit Hindsight(double capacity_wh) : capacity_wh_(capacity_wh) {}

  /// One minute. made_w: behind the controllers, none when a string is not known; soc_fresh: read this minute.
  void on_minute(Utc at, std::optional<double> made_w, std::optional<double> load_w, std::optional<double> soc, double usual_load_w);

  /// What a plan says of a moment a day ahead; sigma without widening.
  void promise(Utc due, double soc, double sigma);
  /// Holds the promises due by now against what came. soc: none when it is not to be compared (unknown, on shore power).
  void judge(Utc now, std::optional<double> soc);

  double unexplained_w() const { return unexplained_w_; }  ///< goes besides the known loads (negative: comes)
  /// One minute in which charging is held off although there is sun; could_w: what the strings could give.
  void while_held_off(double made_w, double load_w, double could_w);

  double held_feeds() const { return held_feeds_; }        ///< share of the loads that the sun feeds while charging is held off
  double full_draw_w() const { return full_draw_w_; }      ///< taken beyond the loads while full
  double widen() const;                                    ///< how much wider than planned the errors have been, 0.4..3

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  struct Promise { Utc due{}; double soc = 0, sigma = 0; };
  double capacity_wh_;
  std::optional<Utc> balance_from_;
  double balance_soc_ = 0, balance_wh_ = 0, unexplained_w_ = 0, full_draw_w_ = 0, held_feeds_ = 0;
  std::deque<Promise> promises_;
  double missed2_ = 0, missed_weight_ = 0;
};

}  // namespace fw::outlook

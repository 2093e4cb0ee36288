#pragma once
// Counts of right and wrong verdicts and alarms, and how they print. Test only.
#include <array>
#include <map>
#include <string>
#include <vector>

#include "records/fact.h"
#include "records/verdict.h"
#include "score/truth.h"

namespace fw::score {

struct Counts {
  long right = 0, claimed = 0, true_of = 0;
  double precision() const { return claimed ? static_cast<double>(right) / static_cast<double>(claimed) : 0; }
  double recall() const { return true_of ? static_cast<double>(right) / static_cast<double>(true_of) : 0; }
  double f1() const { return right ? 2 * precision() * recall() / (precision() + recall()) : 0; }
};

struct Tally {
  std::map<std::string, Counts> strict, lenient;
  Counts shade_from_third_day, soiling_by_day;
  std::map<std::pair<std::string, std::string>, long> confusion;  ///< truth, said
  long intervals = 0, unsure = 0;
  std::array<std::array<double, 3>, 10> reliability{};            ///< n, sum of confidence, right
  long episodes = 0, episodes_that_matter = 0, alerted = 0, alerted_that_matter = 0, released = 0, releasable = 0;
  std::vector<double> alert_delay_min, release_delay_min;
  std::map<std::string, long> false_alarms;
  std::vector<std::string> remarks;
  double days = 0;
  std::vector<double> expected_error, clear_error, soiling_error;
  double clear_kwh = 0, unexplained_kwh = 0;

  void add(const Tally& other);
  void print(const std::string& title, bool long_form) const;
};

/// Follows one feed: verdicts gathered to 5-minute intervals, facts as they come and go.
class Scorer {
 public:
  Scorer(const Truth& truth, std::vector<std::string> strings);
  void on_minute(Utc start, const std::vector<Verdict>& verdicts, const std::vector<Fact>& facts);
  Tally finish();

 private:
  struct Interval {
    std::array<int, cause_count> minutes{};
    std::array<double, cause_count> confidence{};
    double expected_w = 0, clear_w = 0, soiling = 0;
    int count = 0, soiling_count = 0;
  };
  void close(Utc start, std::size_t string);
  void score_snow_episodes();

  const Truth& truth_;
  std::vector<std::string> strings_;
  Tally t_;
  Utc first_{}, last_{};
  bool started_ = false;
  std::vector<Interval> open_;
  Utc open_start_{};
  std::map<std::pair<std::string, std::string>, std::vector<std::pair<Utc, Utc>>> standing_;  ///< alarm, subject -> spans
  std::map<std::pair<std::string, std::string>, bool> now_;
  std::map<std::string, Utc> last_false_;
  std::map<std::pair<std::string, long>, std::array<long, 4>> day_soiling_;  ///< string, day -> rows, true, said, allowed
};

}  // namespace fw::score

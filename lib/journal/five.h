#pragma once
// Minutes into five minutes: one way, used when rows age and when a table is exported, so that an
// export is the same before and after.
#include <map>
#include <optional>
#include <vector>

#include "journal/sample.h"

namespace fw::journal {

/// Takes one string's or many strings' minutes in journal order and gives the closed five-minute rows.
/// The cause is the one held longest, of equals the one seen first; confidence and reason are that
/// cause's. The performance index is the energy one: measured over expected, summed over the minutes
/// that have both. A row's seq is that of its first minute.
class StringFives {
 public:
  void take(const StringSample& minute);
  std::vector<StringSample> closed();            ///< those closed since the last call, by seq
  std::vector<StringSample> finish();            ///< closes what is open, too
  std::optional<std::int64_t> first_open() const;  ///< seq of the oldest minute not yet in a closed row
 private:
  std::map<int, std::vector<StringSample>> open_;  ///< by string
  std::vector<StringSample> closed_;
};

/// Means; the lowest and highest cell; no permit when any minute had none.
class BankFives {
 public:
  void take(const BankSample& minute);
  std::vector<BankSample> closed();
  std::vector<BankSample> finish();
  std::optional<std::int64_t> first_open() const;
 private:
  std::vector<BankSample> open_;
  std::vector<BankSample> closed_;
};

}  // namespace fw::journal

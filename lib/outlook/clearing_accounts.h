#pragma once
// What each clearing brought, counted from the minute it was done until that day's dusk, until the snow would have
// gone by itself, or until the string is cleared anew.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "snow/layer.h"
#include "words/words.h"

namespace fw::outlook {

/// A clearing whose account is closed.
struct Cleared {
  Utc at{};
  double kwh = 0;
  std::optional<double> promised_kwh;  ///< what it was said to be worth
};

class ClearingAccounts {
 public:
  /// A string came free at a time; `would_be`: the snow it had. Strings cleared within the hour are one clearing.
  void begin(int string, Utc at, const snow::Layer& would_be, std::optional<double> promised_kwh);
  bool open(int string) const;
  bool any_open() const { return !accounts_.empty(); }

  /// One minute of a string; expected_w: with bare glass.
  void on_minute(int string, const snow::Exposure& exposure, double expected_w, std::optional<double> measured_w);

  /// Those that are over by now, each once, in the order in which they were begun.
  std::vector<Cleared> take_closed(Utc now, const Words& words);

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  struct Part { int string = 0; snow::Layer would_be; };
  struct Account { Cleared sum; std::vector<Part> parts; };
  std::vector<Account> accounts_;
};

}  // namespace fw::outlook

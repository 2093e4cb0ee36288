#pragma once
// What a broker carries, looked at without a config: topics, fields, last values, intervals, a guess at
// what each field is, and from that a starter config to edit. Guesses rest on common words of the trade,
// on ranges and on how values move; they are proposals and say so.
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "units/channel.h"
#include "units/message.h"

namespace fw::intake {

/// What a field seems to be.
struct Guess {
  enum class Kind { none, channel, time, forecast_rows, forecast_columns };
  Kind kind = Kind::none;
  Quantity quantity{};
  std::string unit;                      ///< proposed, "" when it has none
  double factor = 1;
  bool turned = false;                   ///< seems to count the other way
  std::string thing;                     ///< name of the string or cell sensor it seems to belong to
  std::string time_form;                 ///< epoch_s, epoch_ms, iso or local
  std::string why;                       ///< in a few words
  int weight = 0;                        ///< how much speaks for it; of two fields for one quantity the heavier is taken
};

struct Field {
  std::string topic, pointer;
  std::string last;                      ///< last value as text, printable, cut
  std::uint64_t messages = 0;            ///< live ones that carried it
  std::optional<Span> longest_silence;   ///< between live messages; none below two
  bool only_retained = false;
  std::optional<double> low, high;       ///< of the numbers seen
  std::vector<std::string> words;        ///< texts seen, sorted, the first 12

  std::size_t elements = 0;              ///< of an array
  std::vector<std::string> columns;      ///< of a forecast: names inside a row, or beside this array
  Guess guess;
};

class Listener {
 public:
  Listener();
  Listener(Listener&&) noexcept;
  Listener& operator=(Listener&&) noexcept;
  ~Listener();

  void take(const Message& m);
  /// Sorted by topic and pointer; guesses made anew from all seen so far. At most 2000 fields are kept.
  std::vector<Field> fields() const;
  /// Topics whose payload is neither a number, a word nor JSON, and fields beyond the limit.
  std::uint64_t unread() const;

  /// A table for the terminal: topic, field, last value, interval, guess.
  std::vector<std::string> table() const;
  /// A whole config in YAML: what was found as sources, everything else an example value marked "edit".
  /// max_age of a cell temperature: three times the longest silence, at most 15 min.
  std::string starter_config(const std::string& host, int port) const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// Three times the longest silence, at least 1 min, at most 15 min, rounded up to whole minutes.
Span proposed_max_age(Span longest_silence);

}  // namespace fw::intake

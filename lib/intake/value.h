#pragma once
// One field of a payload as a channel's value, or the reason for none.
#include <optional>
#include <string>

#include "intake/flat_json.h"
#include "rig/rig.h"
#include "units/channel.h"
#include "units/unit_table.h"

namespace fw::intake {

/// A source made ready: unit looked up, range settled, words in lower case.
class ValueReader {
 public:
  ValueReader(const rig::Source& source, const rig::Rig& rig);

  struct Taken {
    std::optional<double> value;
    Gone gone = Gone::none;
    double outside = 0;        ///< out_of_range: what it would have been
  };
  /// node: null for a field that is not there.
  Taken read(const JsonNode* node) const;

 private:
  std::optional<double> word(std::string_view text) const;
  Taken number(double raw) const;

  Quantity quantity_;
  bool stage_ = false, flag_ = false;
  double scale_ = 1, shift_ = 0;     ///< value = raw * scale + shift, unit and sign included
  double from_ = 0, to_ = 0;
  std::vector<double> ignore_;
  std::map<std::string, double, std::less<>> values_;
};

/// A node's value in words, for messages: at most 40 bytes, printable.
std::string shown(const JsonNode* node);

}  // namespace fw::intake

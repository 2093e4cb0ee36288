#pragma once
// One permit for the whole bank, from believed temperatures: off at once, on again only after the resume value has
// held, and never back and forth. A state machine without clock, text or wire.
#include <optional>
#include <string_view>
#include <vector>

#include "guard/decisions.h"
#include "rig/rig.h"
#include "units/time.h"

namespace fw::guard {

enum class Block { none, start, cold, hot, no_temperature, unit, no_current, resting };
std::string_view name(Block b);
std::optional<Block> block_in(std::string_view text);

class Gate {
 public:
  Gate(const rig::Bank& bank, const Decisions& decisions) : bank_(bank), decide_(decisions) {}

  struct Input {
    std::optional<double> min_c, max_c, forbidden_c;
    std::optional<double> perhaps_min_c, perhaps_max_c;  ///< wider than min and max; the current limit follows them
    bool unit_doubted = false;
    bool ever_heard = false;       ///< a believed temperature has come since the start
  };
  void update(Elapsed now, const Input& in);
  std::optional<Elapsed> next_deadline() const;

  bool open() const { return block_ == Block::none; }
  Block block() const { return block_; }
  Elapsed since() const { return since_; }
  /// A cold or hot spell is not over until the resume value has held.
  bool cold() const { return cold_; }
  bool hot() const { return hot_; }
  std::optional<Elapsed> resuming_since() const { return resuming_; }
  /// For the bank, A; 0 while not open. Falls at once, rises only after five minutes.
  double limit_a() const { return open() ? limit_a_ : 0; }

  struct Memory { bool cold = false, hot = false, open = false; double limit_a = 0; std::vector<Elapsed> changes; };
  Memory memory() const;
  /// keep_open: a reload in the same process.
  void recall(const Memory& m, Elapsed now, bool keep_open);

 private:
  void set(Block b, Elapsed now);
  int changes_within_hour(Elapsed now);

  const rig::Bank& bank_;
  const Decisions& decide_;
  Block block_ = Block::start;
  Elapsed since_{};
  bool cold_ = false, hot_ = false;
  std::optional<Elapsed> resuming_;
  std::vector<Elapsed> changes_;
  double limit_a_ = 0;
  double higher_a_ = 0;
  std::optional<Elapsed> higher_since_;
};

}  // namespace fw::guard

#pragma once
// Why a string makes less than it could. Minutes of the rig go in; out comes, for each string, one cause
// with its confidence, the reason in finer words, the evidence, and where the clear-sky watts went; beside
// it the conditions an owner may have to hear of.
//
// Inside: string_state.h and sky_regime.h list what can be, transitions.h how it changes, evidence.h what
// a minute says for or against it, filter.h joins them. The model of each string is calibrated from clear,
// uncovered moments (roof/calibration.h); until that has settled no deviation is called a fault.
//
// Nothing here reads a clock, and nothing looks ahead.
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "records/fact.h"
#include "records/minute.h"
#include "records/note.h"
#include "records/verdict.h"
#include "rig/rig.h"
#include "roof/calibration.h"
#include "units/time.h"
#include "words/words.h"

namespace fw::diagnosis {

class Diagnosis {
 public:
  /// rig and words outlive this.
  Diagnosis(const rig::Rig& rig, const Words& words);
  ~Diagnosis();
  Diagnosis(Diagnosis&&) noexcept;
  Diagnosis& operator=(Diagnosis&&) noexcept;

  /// One verdict a string, in the rig's order; in each the split sums to clear_sky_w. Minutes are expected
  /// in order; a gap is bridged as time without a look.
  std::vector<Verdict> on_minute(const RigMinute& minute);

  /// panels_cleared, string_off, string_on, rig_moved, rig_turned; others are ignored.
  void on_note(const Note& note);

  /// Conditions as of the last minute: snow, soiling, shade, outage, stale, controller, over_voltage of each string.
  std::vector<Fact> facts(Now now, const Remembered& remembered = always_remembered) const;

  /// What the string has shown it can make; the outlook uses it.
  const roof::Calibration& calibration(int string) const;

  /// One sentence or more a string, for `check` and `status`.
  std::vector<std::string> learned() const;

  /// The belief behind a string's last verdict, for developers: sky, snow spell, kinds of state.
  std::string explain(int string) const;

  /// JSON. restore() takes what it knows and leaves the rest fresh; foreign text changes nothing.
  std::string snapshot() const;
  void restore(std::string_view text);

  struct State;  ///< see state.h

 private:
  std::unique_ptr<State> state_;
};

}  // namespace fw::diagnosis

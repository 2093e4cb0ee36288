#pragma once
// The rig's state as the JSON and the plain lines that go out on retained topics and into the
// journal's snapshots. Pure: values in, text out.
#include <optional>
#include <string>
#include <vector>

#include "records/minute.h"
#include "records/verdict.h"
#include "rig/rig.h"
#include "words/words.h"

namespace fw::core {

/// strings/<name>: {"utc","cause","confidence","power_w","clear_sky_w","expected_w","performance_index","reason","evidence"}
std::string string_state(const rig::Rig& rig, const Verdict& verdict, const StringMinute& minute);

/// bank: {"utc","cell_min_c","cell_max_c","soc","voltage_v","current_a","permit"}
std::string bank_state(const RigMinute& minute, bool permit);

/// No string has sun enough to be judged.
bool all_dark(const std::vector<Verdict>& verdicts);

/// "Fore clear, 320 W; aft probably under snow, 12 of 280 W."
std::string strings_line(const rig::Rig& rig, const std::vector<Verdict>& verdicts);

/// What the review needs to know of the rig, kept in the journal.
std::string rig_meta(const rig::Rig& rig);

/// A person's phrase for a cause: "clear", "clouded", "under snow", ...
std::string phrase(const Verdict& verdict);

}  // namespace fw::core

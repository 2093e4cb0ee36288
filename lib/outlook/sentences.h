#pragma once
// The plan in words. Pure; every figure through Words.
#include <optional>
#include <string>

#include "outlook/load_model.h"
#include "outlook/plan.h"
#include "rig/rig.h"
#include "words/words.h"

namespace fw::outlook {

/// "about 1.2 kWh"; what rounds to nothing is "next to nothing".
std::string about(double kwh);

/// "Saturday morning" ("this evening", "tomorrow morning" when near), with the date beyond six days.
std::string until(const Words& words, Utc t, Utc now);

/// "" when there is no snow. away, never climbing: no urging.
std::string clearing_text(const rig::Rig& rig, const Words& words, const Plan& plan, bool away);

/// "Bank 71 %, lasts until Monday evening." or what is known without a state of charge.
std::string bank_line(const rig::Rig& rig, const Words& words, const Plan& plan, std::optional<double> soc,
                      std::optional<double> bank_v, std::optional<double> bank_a);
/// What cold cells will not take of today's sun, and until when warming them pays; "" for next to nothing. away: nobody to warm them.
std::string held_off_text(const Words& words, const Plan& plan, bool away = false);
std::string energy_line(const Words& words, const Plan& plan, bool away = false);
/// "Bank full at about 11:05. About 2.4 kWh more will be there until 15:00 if you have a use for it."
std::string surplus_text(const Words& words, const Surplus& surplus, Utc now);
/// False: only on a course poorer than the middle, or beyond the days planned for.
bool reserve_likely(const Plan& plan, bool away);
std::string reserve_text(const rig::Rig& rig, const Words& words, const Plan& plan, std::optional<double> soc, bool away,
                         std::optional<double> standing_w);
std::string washing_text(const Cleaning& cleaning);
/// "" when neither jack nor heading would bring much.
std::string attitude_text(const rig::Rig& rig, const Words& words, const Plan& plan);
std::string heavy_text(const HeavyLoad& heavy, double hours_left);

}  // namespace fw::outlook

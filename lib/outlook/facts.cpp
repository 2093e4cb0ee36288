// What the alarms room is told of the bank and the cabin.
#include <algorithm>
#include <cmath>

#include "outlook/outlook.h"
#include "outlook/sentences.h"
#include "rig/alarm_limits.h"

namespace fw::outlook {
namespace {
constexpr double heavy_warn_h = 3;

/// ", at its reserve of 20 %", by the figures as they are said.
std::string beside(double soc, double mark, const char* of) {
  const double apart = std::round(soc * 100) - std::round(mark * 100);
  return std::string(apart < 0 ? ", below " : apart > 0 ? ", near " : ", at ") + of + Words::percent(mark);
}
}  // namespace

std::optional<double> Outlook::heavy_hours() const {
  const auto heavy = loads().heavy();
  if (!heavy || !soc_ || heavy->watts <= 0) return {};
  const double fed_w = bank_a_ && bank_v_ ? std::max(0.0, *bank_a_ * *bank_v_ + heavy->watts) : 0.0;
  return std::max(0.0, (*soc_ - rig_.bank.reserve_soc)) * rig_.bank.capacity_wh() * (cell_c_ ? usable_share(*cell_c_) : 1) / std::max(1.0, heavy->watts - fed_w);
}

bool Outlook::heavy_soon() const {
  const auto hours = heavy_hours();
  return hours && *hours <= heavy_warn_h;
}

bool Outlook::weak_cells() const {
  const double cells = std::max(1.0, std::round(rig_.bank.nominal_v / 3.2));
  return bank_v_ && *bank_v_ >= 0.5 * rig_.bank.nominal_v && *bank_v_ / cells <= 3.0;
}

std::vector<Fact> Outlook::facts(Now now, const Remembered& remembered) const {
  (void)now;
  Facts out(remembered);
  const auto fact = [&](const char* alarm, bool condition) { return out.add(alarm, "rig", condition); };
  if (rig_.has_bank) {
    const bool is_gone = bank_v_ && *bank_v_ < 0.5 * rig_.bank.nominal_v;
    if (Fact* gone = fact("bank_gone", is_gone)) {
      gone->text = "The bank has disconnected itself or is empty: " + (bank_v_ ? Words::volts(*bank_v_) : std::string("no voltage")) +
                   ". Take the loads off; a charger that needs no battery voltage, such as shore power, can wake it. Only with cells above " +
                   words_.temperature(rig_.bank.window.lower_limit_c) + ".";
      gone->over_text = "The bank is back.";
    }

    const bool heavy = heavy_soon(), weak = weak_cells();
    const bool is_low = !is_gone && !shore_ && ((soc_ && low_standing_) || heavy || weak);
    if (Fact* low = fact("bank_low", is_low)) {
      if (weak || (soc_ && *soc_ < rig_.bank.reserve_soc / 2)) low->priority = 2;
      if (heavy && !(soc_ && low_standing_))
        low->text = heavy_text(*loads().heavy(), *heavy_hours());
      else if (weak)
        low->text = "Bank at " + Words::volts(*bank_v_) + (soc_ ? ", " + Words::percent(*soc_) : std::string()) +
                    ": nearly empty. Switch off what can be spared now, or charge from another source, before it disconnects itself.";
      else if (soc_) {
        const double mark = *soc_ > rig_.bank.reserve_soc + 0.01 ? low_limit() : rig_.bank.reserve_soc;
        low->text = "Bank " + Words::percent(*soc_) + beside(*soc_, mark, mark > rig_.bank.reserve_soc ? "your limit of " : "its reserve of ") +
                    ". Switch off what can be spared, or charge from another source.";
      }
      if (shore_)
        low->over_text = "Shore power feeds the loads" + (soc_ ? ": bank " + Words::percent(*soc_) : std::string()) + ".";
      else if (soc_ && low_by_load_)
        low->over_text = "The heavy load is over: bank " + Words::percent(*soc_) + ".";
      else if (!soc_ && bank_v_)
        low->over_text = "Bank at " + Words::volts(*bank_v_) + " again.";
      else if (soc_)
        low->over_text = std::string("Bank above ") + (low_limit() > rig_.bank.reserve_soc ? "your limit" : "its reserve") + " again: " + Words::percent(*soc_) + ".";
    }

    if (Fact* ahead = fact("reserve_ahead", ahead_standing_)) {
      ahead->hidden_by = {"bank_low-rig"};  // then that is the news
      if (ahead->condition) {
        ahead->worth_saying = reserve_likely(plan_, away_);
        ahead->text = reserve_text(rig_, words_, plan_, soc_, away_, loads().standing_w());
        ahead->confidence = std::clamp(plan_.reserve_beyond ? 0.8 : std::max(plan_.reserve_probability, plan_.departure_at ? 0.6 : 0.5), 0.0, 1.0);
        if (plan_.reserve_at) {
          const double left_h = hours_of(*plan_.reserve_at - plan_.at);
          if (left_h <= 12) ahead->priority = 2;
          if (away_ && left_h > 72) ahead->priority = 0;  // once, and again after a week
        }
      }
      ahead->over_text = "The reserve is out of sight.";
    }

    const double limit = rig::alarm_limit("surplus", rig_);
    const auto& s = plan_.surplus_today;
    if (Fact* surplus = fact("surplus", s && s->kwh >= limit && hours_of(s->from - plan_.at) <= 3)) {
      if (s) surplus->text = surplus_text(words_, *s, plan_.at);
      surplus->over_text = "No more to spare today.";
    }
  }
  if (cabin_c_)
    if (Fact* cold = fact("cabin_cold", cabin_standing_)) {
      cold->text = "Cabin at " + words_.temperature(*cabin_c_) + ". Water may freeze; look at the heating.";
      cold->over_text = "Cabin at " + words_.temperature(*cabin_c_) + " again.";
    }
  return out.take();
}

}  // namespace fw::outlook

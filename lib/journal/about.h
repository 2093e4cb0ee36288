#pragma once
// What a reader of the journal must know of the rig. The core stores it as the snapshot "rig"; every
// key may be missing. Format:
// {"rig":"demo","timezone":"Europe/Oslo","southern":false,"fahrenheit":false,
//  "strings":[{"name":"front","rated_w":400}],
//  "window":{"lower_limit_c":0,"resume_c":2,"upper_limit_c":45,"preferred_floor_c":5},
//  "capacity_kwh":2.56,"reserve_soc":0.2,"min_gain_kwh":0.5,"price_per_kwh":0.4,"currency":"EUR"}
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace fw::journal {

struct About {
  struct String {
    std::string name;
    std::optional<double> rated_w;
  };
  std::string rig;                           ///< empty: not known
  std::string timezone = "UTC";
  bool southern = false;                     ///< south of the equator: winter is from April to September
  bool fahrenheit = false;
  std::vector<String> strings;
  std::optional<double> lower_limit_c, resume_c, upper_limit_c, preferred_floor_c;
  std::optional<double> capacity_kwh, reserve_soc, min_gain_kwh, price_per_kwh;  ///< min_gain: below it clearing is not worth the ladder
  std::string currency;
};

/// Unreadable or foreign text gives the defaults.
About about_in(std::string_view json);
/// The text that about_in() reads.
std::string about_json(const About& a);

}  // namespace fw::journal

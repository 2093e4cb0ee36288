#include "alarms/rules.h"

#include <cmath>

#include "alarms/builtin.h"
#include "alarms/notice.h"
#include "rig/alarm_limits.h"
#include "units/text.h"

namespace fw::alarms {
namespace {

using Test = rig::Test;

constexpr Span rate_window = std::chrono::minutes{30};
constexpr Span rate_least = std::chrono::minutes{10};
constexpr Span rate_spacing = std::chrono::seconds{30};

bool is_rate(Test t) { return t == Test::rate_above || t == Test::rate_below; }

enum class Kind { watts, volts, amps, kwh, share, temperature, flag, stage, wm2, depth, speed, degrees, hours, number };

Kind kind_of(const rig::Signal& s) {
  switch (s.derived) {
    case rig::Derived::cell_min:
    case rig::Derived::cell_max: return Kind::temperature;
    case rig::Derived::performance_index: return Kind::share;
    case rig::Derived::expected_power: return Kind::watts;
    case rig::Derived::hours_left: return Kind::hours;
    case rig::Derived::none: break;
  }
  switch (s.channel.quantity) {
    case Quantity::string_power:
    case Quantity::output_power:
    case Quantity::bank_heater_power:
    case Quantity::load_power: return Kind::watts;
    case Quantity::string_voltage:
    case Quantity::output_voltage:
    case Quantity::bank_voltage: return Kind::volts;
    case Quantity::string_current:
    case Quantity::output_current:
    case Quantity::bank_current:
    case Quantity::charger_limit:
    case Quantity::charger_current: return Kind::amps;
    case Quantity::string_day_energy: return Kind::kwh;
    case Quantity::soc: return Kind::share;
    case Quantity::controller_temperature:
    case Quantity::cell_temperature:
    case Quantity::air_temperature:
    case Quantity::cabin_temperature: return Kind::temperature;
    case Quantity::charge_allowed:
    case Quantity::bank_heater_on:
    case Quantity::charger_on:
    case Quantity::heater_on: return Kind::flag;
    case Quantity::stage: return Kind::stage;
    case Quantity::irradiance: return Kind::wm2;
    case Quantity::snow_depth: return Kind::depth;
    case Quantity::wind:
    case Quantity::speed: return Kind::speed;
    case Quantity::latitude:
    case Quantity::longitude:
    case Quantity::heading:
    case Quantity::pitch:
    case Quantity::roll: return Kind::degrees;
    case Quantity::controller_error: return Kind::number;
  }
  return Kind::number;
}

/// As many digits as the number needs, up to `decimals`.
std::string trimmed(double v, int decimals) {
  std::string s = fixed(v, decimals);
  if (s.find('.') == std::string::npos) return s;
  s.erase(s.find_last_not_of('0') + 1);
  if (s.back() == '.') s.pop_back();
  return s == "-0" ? "0" : s;
}

/// difference: a deadband or a change, not a point on the scale.
std::string exact_value(Kind kind, double v, bool difference, const Words& words) {
  switch (kind) {
    case Kind::watts: return trimmed(v, 0) + " W";
    case Kind::volts: return trimmed(v, 2) + " V";
    case Kind::amps: return trimmed(v, 2) + " A";
    case Kind::kwh: return trimmed(v, 2) + " kWh";
    case Kind::share: return trimmed(v * 100, 1) + " %";
    case Kind::temperature:
      if (words.fahrenheit()) return trimmed(v * 1.8 + (difference ? 0 : 32), 1) + " °F";
      return trimmed(v, 1) + " °C";
    case Kind::flag: return v != 0 ? "on" : "off";
    case Kind::stage: {
      const int n = static_cast<int>(v);
      return n >= 0 && n <= static_cast<int>(Stage::inhibited) ? std::string(name(static_cast<Stage>(n))) : trimmed(v, 0);
    }
    case Kind::wm2: return trimmed(v, 0) + " W/m2";
    case Kind::depth: return trimmed(v, 1) + " cm";
    case Kind::speed: return trimmed(v, 1) + " m/s";
    case Kind::degrees: return trimmed(v, 4) + "°";
    case Kind::hours: return trimmed(v, 1) + " h";
    case Kind::number: return trimmed(v, 3);
  }
  return trimmed(v, 3);
}

std::string spoken_value(Kind kind, double v, const Words& words) {
  switch (kind) {
    case Kind::watts: return Words::watts(v);
    case Kind::volts: return Words::volts(v);
    case Kind::amps: return Words::amps(v);
    case Kind::kwh: return Words::energy(v);
    case Kind::share: return Words::percent(v);
    case Kind::temperature: return words.temperature(v);
    case Kind::depth: return Words::depth(v);
    case Kind::hours: return Words::span(std::chrono::round<std::chrono::minutes>(std::chrono::duration<double, std::ratio<3600>>(v)));
    default: return exact_value(kind, v, false, words);
  }
}

/// A rate's limit is said by its size: the word before it has the direction.
double said_limit(const rig::Rule& r, double limit) { return is_rate(r.test) ? std::fabs(limit) : limit; }

std::string limit_text(const rig::Rule& r, const Words& words) {
  return exact_value(kind_of(r.signal), said_limit(r, r.limit), is_rate(r.test), words) + (is_rate(r.test) ? " an hour" : "");
}

std::string comparison(const rig::Rule& r) {
  switch (r.test) {
    case Test::above: return "above";
    case Test::below: return "below";
    case Test::equals: return "at";
    case Test::missing: return "silent";
    case Test::rate_above: return r.limit < 0 ? "falling by less than" : "rising by more than";
    case Test::rate_below: return r.limit < 0 ? "falling by more than" : "rising by less than";
  }
  return "";
}

/// Delays of rules may be seconds.
std::string delay(Span s) {
  const auto seconds = std::chrono::round<std::chrono::seconds>(s).count();
  return seconds < 120 && seconds % 60 != 0 ? std::to_string(seconds) + " s" : Words::span(s);
}

/// In the unit that the table of built-in alarms names.
std::string built_in_value(const BuiltIn& b, double v, bool difference, const Words& words) {
  const Kind kind = b.limit == "degC"  ? Kind::temperature
                    : b.limit == "kWh" ? Kind::kwh
                    : b.limit == "A"   ? Kind::amps
                    : b.limit == "hours" ? Kind::hours
                                         : Kind::share;
  return exact_value(kind, v, difference, words);
}

bool past(const rig::Rule& r, double value, double back) {
  switch (r.test) {
    case Test::above:
    case Test::rate_above: return value > r.limit - back;
    case Test::below:
    case Test::rate_below: return value < r.limit + back;
    case Test::equals: return std::fabs(value - r.limit) <= 1e-9 + back;
    case Test::missing: break;
  }
  return false;
}

void fill(std::string& text, std::string_view mark, const std::string& with) {
  for (auto at = text.find(mark); at != std::string::npos; at = text.find(mark, at + with.size()))
    text.replace(at, mark.size(), with);
}

}  // namespace

std::string rule_subject(const rig::Rule& rule, const rig::Rig& rig) {
  const auto& s = rule.signal;
  const auto name_at = [](const auto& list, int i, const char* otherwise) {
    return i >= 0 && i < static_cast<int>(list.size()) ? list[i].name : std::string(otherwise);
  };
  switch (s.derived) {
    case rig::Derived::cell_min:
    case rig::Derived::cell_max:
    case rig::Derived::hours_left: return "bank";
    case rig::Derived::performance_index:
    case rig::Derived::expected_power: return name_at(rig.strings, s.thing, "rig");
    case rig::Derived::none: break;
  }
  const Quantity q = s.channel.quantity;
  if (q <= Quantity::controller_error) return name_at(rig.strings, s.channel.thing, "rig");
  if (q == Quantity::cell_temperature) return name_at(rig.bank.sensors, s.channel.thing, "bank");
  if (q <= Quantity::bank_heater_power) return "bank";
  if (q <= Quantity::charger_current) return name_at(rig.chargers, s.channel.thing, "rig");
  if (q == Quantity::heater_on) return name_at(rig.heaters, s.channel.thing, "rig");
  return "rig";
}

std::string signal_value(const rig::Rule& r, double value, const Words& words) {
  const Kind kind = kind_of(r.signal);
  if (is_rate(r.test)) return exact_value(kind, value, true, words) + " an hour";
  std::string said = spoken_value(kind, value, words);
  // Rounded to the same figure as its limit it would read "12.4 V, below 12.4 V".
  if (value != r.limit && said == spoken_value(kind, r.limit, words)) return exact_value(kind, value, false, words);
  return said;
}

std::string rule_sentence(const rig::Rule& r, const Words& words) {
  const Kind kind = kind_of(r.signal);
  std::string s = r.name + ": " + r.signal.text;
  if (r.test == Test::missing) {
    s += " silent for " + delay(r.on_delay > Span::zero() ? r.on_delay : default_missing_after) + ", over when it speaks again";
  } else {
    s += " " + comparison(r) + " " + limit_text(r, words);
    if (r.on_delay > Span::zero()) s += " for " + delay(r.on_delay);
    s += ", over when ";
    const double back = r.test == Test::above || r.test == Test::rate_above ? r.limit - r.deadband : r.limit + r.deadband;
    if (r.test == Test::equals)
      s += "it is another";
    else if (r.deadband > 0)
      s += "past " + exact_value(kind, said_limit(r, back), is_rate(r.test), words) + (is_rate(r.test) ? " an hour" : "");
    else
      s += "back";
    s += " for " + delay(r.off_delay > Span::zero() ? r.off_delay : default_off_delay);
  }
  return s + "; priority " + std::string(name(r.priority)) + ".";
}

std::string alarm_sentence(const BuiltIn& b, const rig::Rig& rig, const Words& words) {
  std::string s = std::string(b.name) + ": ";
  const auto it = rig.alarms.find(std::string(b.name));
  const rig::AlarmSetting own = it != rig.alarms.end() ? it->second : rig::AlarmSetting{};
  if (!own.enabled) return s + "off.";
  s += b.label;
  if (const Span on = own.on_delay.value_or(b.on_delay); on > Span::zero()) s += " for " + delay(on);
  if (own.limit) s += ", your limit " + built_in_value(b, *own.limit, false, words);
  else if (const auto limit = rig::default_alarm_limit(b.name, rig)) s += ", limit " + built_in_value(b, *limit, false, words);
  if (own.deadband) s += ", deadband " + built_in_value(b, *own.deadband, true, words);
  return s + ", over when gone for " + delay(own.off_delay.value_or(b.off_delay)) + "; priority " +
         std::string(name(own.priority.value_or(b.priority))) + ".";
}

std::string rule_text(const rig::Rule& r, double value, Utc since, Utc now, const Words& words) {
  std::string text = r.text;
  const std::string at = words.when(since, now);
  if (text.empty()) {
    text = Words::capital(r.signal.text.starts_with("site.") ? r.signal.text.substr(5) : r.signal.text);
    for (char& c : text)
      if (c == '.' || c == '_') c = ' ';
    if (r.test == Test::missing) return text + ": no word since " + at + ".";
    if (is_rate(r.test))
      return text + (value < 0 ? " falling by " : " rising by ") + exact_value(kind_of(r.signal), std::fabs(value), true, words) + " an hour since " + at +
             "; limit " + limit_text(r, words) + ".";
    return text + " " + signal_value(r, value, words) + (r.test == Test::equals ? "" : ", " + comparison(r) + " " + limit_text(r, words)) +
           " since " + at + ".";
  }
  fill(text, "{value}", r.test == Test::missing ? "no word" : signal_value(r, value, words));
  fill(text, "{limit}", limit_text(r, words));
  fill(text, "{since}", at);
  return text;
}

std::string rule_over_text(const rig::Rule& r, double value, const Words& words) {
  std::string name = Words::capital(r.name);
  for (char& c : name)
    if (c == '_') c = ' ';
  return name + " is over: " + (r.test == Test::missing ? "it is heard again" : signal_value(r, value, words)) + ".";
}

std::optional<double> RuleWatch::rate_per_hour(double value, Elapsed at) {
  if (!samples_.empty() && at - samples_.back().at > rate_window) samples_.clear();
  if (samples_.empty() || at - samples_.back().at >= rate_spacing) samples_.push_back({at, value});
  while (samples_.front().at < at - rate_window) samples_.pop_front();
  if (samples_.size() < 3 || samples_.back().at - samples_.front().at < rate_least) return std::nullopt;
  // Slope of the least-squares line: one odd sample does not make a rate.
  double sum_t = 0, sum_v = 0, n = static_cast<double>(samples_.size());
  for (const auto& s : samples_) {
    sum_t += hours_of(s.at - samples_.front().at);
    sum_v += s.value;
  }
  double tv = 0, tt = 0;
  for (const auto& s : samples_) {
    const double t = hours_of(s.at - samples_.front().at) - sum_t / n;
    tv += t * (s.value - sum_v / n);
    tt += t * t;
  }
  return tv / tt;
}

std::optional<bool> RuleWatch::take(const rig::Rule& r, double value, Elapsed at) {
  last_seen_ = at;
  if (r.test == Test::missing) return std::nullopt;
  if (is_rate(r.test)) {
    const auto rate = rate_per_hour(value, at);
    if (!rate) return std::nullopt;
    value = *rate;
  }
  compared_ = value;
  holds_ = past(r, value, holds_ ? r.deadband : 0);
  return holds_;
}

bool RuleWatch::beyond(const rig::Rule& r) const { return r.test == Test::missing || past(r, compared_, 0); }

}  // namespace fw::alarms

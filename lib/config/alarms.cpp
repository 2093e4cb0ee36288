#include <algorithm>
#include <array>

#include "config/sections.h"
#include "config/signals.h"
#include "units/text.h"

namespace fw::config {

namespace {

struct Known {
  std::string_view name;
  Dimension limit;          ///< none: no limit to set
  bool deadband = false;
};
/// The built-in alarms and what their limit is measured in.
constexpr std::array known_alarms{
    Known{"snow", Dimension::none}, Known{"soiling", Dimension::ratio, true}, Known{"shade", Dimension::none}, Known{"outage", Dimension::none},
    Known{"stale", Dimension::none}, Known{"controller", Dimension::none}, Known{"over_voltage", Dimension::ratio},
    Known{"bank_cold_ahead", Dimension::none}, Known{"bank_cold", Dimension::none}, Known{"bank_hot", Dimension::none},
    Known{"bank_sensor", Dimension::none}, Known{"charging_unpermitted", Dimension::current}, Known{"command_unconfirmed", Dimension::none},
    Known{"bank_low", Dimension::ratio, true}, Known{"bank_gone", Dimension::none}, Known{"reserve_ahead", Dimension::time, true},
    Known{"cabin_cold", Dimension::temperature, true}, Known{"heater", Dimension::none}, Known{"surplus", Dimension::energy},
    Known{"clock", Dimension::none}, Known{"journal", Dimension::none}, Known{"link", Dimension::none}, Known{"client_id", Dimension::none}};

/// The alarms room counts hours where the canonical time is seconds.
double in_alarm_scale(double v, Dimension d) { return d == Dimension::time ? v / 3600 : v; }

constexpr Within anything{-1e9, 1e9};

std::optional<rig::Priority> priority(const Field& f) {
  const auto k = f.choice({"low", "high", "urgent"});
  return k ? std::optional{static_cast<rig::Priority>(*k)} : std::nullopt;
}

std::optional<Span> delay(const Field& f) { return f.span(seconds{0}, days{30}); }

}  // namespace

void read_alarms(Block& top, Draft& draft) {
  const auto field = top.take("alarms");
  if (!field) return;
  std::vector<std::string> names;
  for (const Known& k : known_alarms) names.emplace_back(k.name);
  for (const auto& [name_of, entry] : field->table("settings of built-in alarms, by name")) {
    const auto known = std::find_if(known_alarms.begin(), known_alarms.end(), [&name = name_of](const Known& k) { return k.name == name; });
    if (known == known_alarms.end()) {
      entry.fault("no such alarm, " + suggestion(name_of, names));
      continue;
    }
    rig::AlarmSetting a;
    if (entry.is_text()) {
      put(a.enabled, std::optional{entry}, [](const Field& f) { return f.flag(); });
    } else if (auto block = entry.block("enabled, priority, on_delay, off_delay, limit, deadband")) {
      put(a.enabled, block->take("enabled"), [](const Field& f) { return f.flag(); });
      put(a.priority, block->take("priority"), priority);
      put(a.on_delay, block->take("on_delay"), delay);
      put(a.off_delay, block->take("off_delay"), delay);
      const auto limit = block->take("limit"), deadband = block->take("deadband");
      if (limit && known->limit == Dimension::none)
        limit->fault(name_of + " has no limit to set" + (name_of == "bank_cold_ahead" ? "; it looks at bank.charge_window, lower_limit and preferred_floor" : ""));
      if (deadband && !known->deadband) deadband->fault(name_of + " has no deadband to set");
      if (known->limit != Dimension::none) {
        put(a.limit, limit, [&](const Field& f) -> std::optional<double> {
          const auto v = f.quantity(known->limit, anything);
          return v ? std::optional{in_alarm_scale(*v, known->limit)} : std::nullopt;
        });
        if (known->deadband) put(a.deadband, deadband, [&](const Field& f) -> std::optional<double> {
          const auto v = f.difference(known->limit, {0, 1e9});
          return v ? std::optional{in_alarm_scale(*v, known->limit)} : std::nullopt;
        });
      }
      block->finish();
    }
    draft.rig.alarms[name_of] = a;
  }
}

namespace {

/// "5 degC/h" -> "5 degC"; false when "/h" is missing.
bool strip_per_hour(std::string& text) {
  for (const std::string_view tail : {"/h", " per h", " an hour"})
    if (text.ends_with(tail)) {
      text.erase(text.size() - tail.size());
      return true;
    }
  return false;
}

std::optional<double> read_limit(const Field& f, const SignalInfo& info, rig::Test test, std::string& unit) {
  const auto text = f.text();
  if (!text) return std::nullopt;
  const bool rate = test == rig::Test::rate_above || test == rig::Test::rate_below;
  if (info.kind == SignalInfo::Kind::stage) {
    if (const auto stage = stage_in(*text)) return static_cast<double>(*stage);
    f.fault("'" + printable(*text, 40) + "' is not a stage: off, bulk, absorption, float, equalize or inhibited");
    return std::nullopt;
  }
  if (info.kind == SignalInfo::Kind::flag) {
    if (*text == "true" || *text == "on") return 1.0;
    if (*text == "false" || *text == "off") return 0.0;
    f.fault("'" + printable(*text, 40) + "' is neither on nor off");
    return std::nullopt;
  }
  std::string plain = *text;
  if (rate && !strip_per_hour(plain)) {
    f.fault("'" + printable(*text, 40) + "' is not a rate, write it per hour, for example 2 degC/h");
    return std::nullopt;
  }
  const Field amount{YAML::Node{plain}, f.path(), f.place(), f.report()};
  if (info.dimension == Dimension::none) return amount.number(anything);
  const auto v = rate ? amount.difference(info.dimension, anything) : amount.quantity(info.dimension, anything);
  const auto last = plain.find_last_of("0123456789.");
  const auto from = last == std::string::npos ? std::string::npos : plain.find_first_not_of(' ', last + 1);
  if (from != std::string::npos) unit = plain.substr(from);
  return v ? std::optional{*v * info.scale} : std::nullopt;
}

}  // namespace

void read_rules(Block& top, Draft& draft) {
  const auto field = top.take("rules");
  if (!field) return;
  const std::map<std::string, SignalInfo> signals = signals_of(draft.rig);
  std::vector<std::string> names;
  for (const auto& [text, info] : signals) names.push_back(text);
  for (const auto& [name_of, entry] : field->named("one block for each rule, by name")) {
    auto block = entry.block("signal, test, limit, on_delay, priority, text");
    if (!block) continue;
    Block& b = *block;
    rig::Rule r;
    r.name = name_of;
    if (std::any_of(known_alarms.begin(), known_alarms.end(), [&name = name_of](const Known& k) { return k.name == name; }))
      entry.fault("is the name of a built-in alarm; adjust that under alarms, or choose another name");
    const SignalInfo* info = nullptr;
    if (const auto f = b.need("signal", "for example bank.soc"))
      if (const auto text = f->text()) {
        const auto found = signals.find(*text);
        if (found == signals.end()) {
          const std::string near = nearest(*text, names);
          f->fault("no such signal '" + printable(*text, 60) + "'" + (near.empty() ? ", write for example bank.soc" : ", did you mean '" + near + "'?"));
        } else {
          if (!found->second.fed) f->fault("nothing feeds " + *text + "; give it a source");
          info = &found->second;
          r.signal = info->signal;
        }
      }
    bool test_known = false;
    const auto test = b.need("test", "above, below, equals, missing, rate_above or rate_below");
    if (test)
      if (const auto k = test->choice({"above", "below", "equals", "missing", "rate_above", "rate_below"})) {
        r.test = static_cast<rig::Test>(*k);
        test_known = true;
        const bool word = info && info->kind != SignalInfo::Kind::number;
        if (word && r.test != rig::Test::equals && r.test != rig::Test::missing)
          test->fault(r.signal.text + " is no number: equals or missing");
        if (r.test == rig::Test::missing && info && info->signal.derived != rig::Derived::none) test->fault(r.signal.text + " is worked out, it cannot be missing");
      }
    const auto limit = test_known && r.test != rig::Test::missing ? b.need("limit", "the value with its unit") : b.take("limit");
    if (limit && test_known && r.test == rig::Test::missing) limit->fault("a test for missing has no limit");
    if (limit && info && test_known && r.test != rig::Test::missing)
      put(r.limit, limit, [&](const Field& f) { return read_limit(f, *info, r.test, r.unit); });
    const auto deadband = b.take("deadband");
    if (deadband && info) {
      if (info->kind != SignalInfo::Kind::number || r.test == rig::Test::missing)
        deadband->fault("has no meaning here");
      else if (info->dimension == Dimension::none)
        put(r.deadband, deadband, [](const Field& f) { return f.number({0, 1e9}); });
      else
        put(r.deadband, deadband, [&](const Field& f) -> std::optional<double> {
          const auto v = f.difference(info->dimension, {0, 1e9});
          return v ? std::optional{*v * info->scale} : std::nullopt;
        });
    }
    put(r.on_delay, b.take("on_delay"), delay);
    put(r.off_delay, b.take("off_delay"), delay);
    put(r.priority, b.take("priority"), priority);
    if (const auto f = b.take("text"))
      if (const auto text = f->text()) {
        r.text = *text;
        for (auto at = text->find('{'); at != std::string::npos; at = text->find('{', at + 1)) {
          const std::string mark = text->substr(at, text->find('}', at) - at + 1);
          if (mark != "{value}" && mark != "{limit}" && mark != "{since}")
            f->fault("'" + printable(mark, 30) + "' is not filled in; {value}, {limit} and {since} are");
        }
        if (text->size() > 400) f->fault("is longer than 400 characters");
      }
    b.finish();
    draft.rig.rules.push_back(std::move(r));
  }
}

}  // namespace fw::config

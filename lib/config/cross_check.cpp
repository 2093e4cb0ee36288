#include <map>

#include "config/sections.h"
#include "config/signals.h"

namespace fw::config {

namespace {

bool loopback(const std::string& host) {
  return host == "localhost" || host == "::1" || host.starts_with("127.") || host == "ip6-localhost" || host.starts_with("/");
}

void check_strings(Draft& d) {
  for (std::size_t i = 0; i < d.rig.strings.size(); ++i) {
    const rig::PvString& s = d.rig.strings[i];
    const std::string path = "strings." + s.name;
    const int thing = static_cast<int>(i);
    const auto faulty = [&](Quantity q) { return d.written.contains({q, thing}) && !d.rig.has(Channel{q, thing}); };
    const bool told = faulty(Quantity::string_power) || faulty(Quantity::string_voltage) || faulty(Quantity::string_current) ||
                      faulty(Quantity::output_power) || faulty(Quantity::output_current) || faulty(Quantity::output_voltage);
    if (!told && !power_known(d.rig, thing))
      d.report.fault(d.place(path), path,
                     "no source feeds this string; give it power, or voltage and current, or the controller's output_power or output_current");
    const double v_oc = s.module.v_oc_v * s.series;
    if (s.controller.max_voltage_v && v_oc > 0) {
      // Open-circuit voltage at -10 degC cells, a plain winter morning; the daemon works with the real forecast.
      const double cold = v_oc * (1 + s.module.beta_voc_per_k * (-10 - 25));
      if (v_oc > *s.controller.max_voltage_v)
        d.report.warning(d.place(path), path, "its open-circuit voltage is above the controller's max_voltage even at 25 degC; have the wiring checked");
      else if (cold > *s.controller.max_voltage_v)
        d.report.warning(d.place(path), path, "its open-circuit voltage passes the controller's max_voltage when the cells are at -10 degC");
    }
  }
}

void check_sources(Draft& d) {
  std::map<std::pair<std::string, std::string>, const rig::Source*> seen;
  for (const rig::Source& s : d.rig.sources) {
    if (s.topic.empty()) continue;
    const auto [at, fresh] = seen.emplace(std::pair{s.topic, s.pointer}, &s);
    if (fresh) continue;
    const Draft::Written& here = d.written.at(s.channel);
    d.report.warning(here.place, here.path, "reads the same field as " + d.written.at(at->second->channel).path);
  }
}

void check_commands(Draft& d) {
  std::map<std::string, std::string> topics;
  const auto command = [&](const std::string& path, const std::string& topic) {
    if (topic.empty()) return;
    if (d.rig.simulation) d.report.fault(d.place(path), path, "a real command topic beside simulation: true; a simulated rig must not switch real things");
    if (const auto [at, fresh] = topics.emplace(topic, path); !fresh && at->second != path)
      d.report.fault(d.place(path), path, "shares the command topic '" + topic + "' with " + at->second);
    for (const rig::Source& s : d.rig.sources)
      if (s.topic == topic) d.report.warning(d.place(path), path, "commands go to '" + topic + "', which is also read as " + d.written.at(s.channel).path);
  };
  for (const rig::Charger& c : d.rig.chargers) {
    const std::string path = "chargers." + c.name;
    command(path, c.command.topic);
    command(path, c.limit_topic);
    if (!c.command.configured() && c.limit_topic.empty() && c.stop_by != rig::StopBy::never)
      d.report.warning(d.place(path), path, "has no command: firnwatt can only publish the permit, something else must obey it");
  }
  for (const rig::Heater& h : d.rig.heaters) command("heaters." + h.name, h.command.topic);
  if (!d.rig.has_bank && !d.rig.chargers.empty())
    d.report.fault(d.place("chargers." + d.rig.chargers[0].name), "chargers", "need the block bank: its capacity and cell temperature");
  if (!d.rig.has_bank && !d.rig.heaters.empty())
    d.report.fault(d.place("heaters." + d.rig.heaters[0].name), "heaters", "need the block bank: its capacity and cell temperature");
  if (d.rig.has_bank && !d.rig.chargers.empty() && !d.rig.has(Quantity::cell_temperature))
    d.report.warning(d.place("bank"), "bank", "no cell temperature: no charger will ever get a permit");
}

void check_broker(Draft& d) {
  const rig::Mqtt& m = d.rig.mqtt;
  if (loopback(m.host)) return;
  if (!m.tls) d.report.warning(d.place("broker"), "broker", "is beyond this board and without TLS; anyone on the way can read and switch");
  if (m.password.empty() && m.password_file.empty() && m.cert_file.empty())
    d.report.warning(d.place("broker"), "broker", "is beyond this board and without password or client certificate");
}

}  // namespace

void cross_check(Draft& draft) {
  check_strings(draft);
  check_sources(draft);
  check_commands(draft);
  check_broker(draft);
}

}  // namespace fw::config

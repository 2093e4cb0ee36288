#include <charconv>

#include "config/sections.h"
#include "units/text.h"

namespace fw::config {

namespace {

/// "2s2p", "3s", "2p", "1"
std::optional<std::pair<int, int>> wiring_in(std::string_view text) {
  int series = 0, parallel = 0;
  while (!text.empty()) {
    int n = 0;
    const auto [end, ec] = std::from_chars(text.data(), text.data() + text.size(), n);
    if (ec != std::errc{} || n < 1 || n > 1000) return std::nullopt;
    text.remove_prefix(static_cast<std::size_t>(end - text.data()));
    if (text.starts_with('s') && series == 0 && parallel == 0)
      series = n;
    else if (text.starts_with('p') && parallel == 0)
      parallel = n;
    else if (text.empty() && n == 1 && series == 0 && parallel == 0)
      return std::pair{1, 1};
    else
      return std::nullopt;
    text.remove_prefix(1);
  }
  if (series == 0 && parallel == 0) return std::nullopt;
  return std::pair{std::max(series, 1), std::max(parallel, 1)};
}

/// A temperature coefficient: "-0.34 %/K", "-0.34 %"
std::optional<double> per_kelvin(const Field& f, double from, double to) {
  const auto text = f.text();
  if (!text) return std::nullopt;
  std::string t = *text;
  for (const std::string_view tail : {"/K", "/degC", "/°C", " per K"})
    if (t.ends_with(tail)) t.erase(t.size() - tail.size());
  const auto end = t.find('%');
  const auto v = end != std::string::npos && end + 1 == t.size() ? number_in(std::string_view{t}.substr(0, end)) : std::nullopt;
  if (!v) {
    f.fault("'" + printable(*text, 40) + "' is not a temperature coefficient, write for example -0.34 %/K");
    return std::nullopt;
  }
  if (*v > to || *v < from) {
    f.fault(printable(*text, 40) + " is outside " + figure(from) + " to " + figure(to) + " %/K" + (*v > 0 ? "; power and voltage fall with heat, the sign is minus" : ""));
    return std::nullopt;
  }
  return *v / 100;
}

void read_module(Block& b, rig::Module& m) {
  put(m.stc_w, b.need("power", "rated power of one module, for example 200 W"), [](const Field& f) { return f.quantity(Dimension::power, {1, 1000}); });
  const auto v_oc = b.take("v_oc");
  put(m.v_oc_v, v_oc, [](const Field& f) { return f.quantity(Dimension::voltage, {1, 300}); });
  put(m.v_mp_v, b.take("v_mp"), [](const Field& f) { return f.quantity(Dimension::voltage, {1, 300}); });
  if (m.v_oc_v > 0 && m.v_mp_v >= m.v_oc_v) v_oc->fault("must be above v_mp");
  put(m.gamma_pmp_per_k, b.take("power_per_k"), [](const Field& f) { return per_kelvin(f, -0.8, -0.05); });
  put(m.beta_voc_per_k, b.take("v_oc_per_k"), [](const Field& f) { return per_kelvin(f, -0.8, -0.05); });
  b.finish();
}

void read_controller(Block& b, int i, rig::PvString& s, Draft& draft) {
  rig::Controller& c = s.controller;
  put(c.max_power_w, b.take("max_power"), [](const Field& f) { return f.quantity(Dimension::power, {1, 1e6}); });
  put(c.max_current_a, b.take("max_current"), [](const Field& f) { return f.quantity(Dimension::current, {0.1, 2000}); });
  put(c.max_voltage_v, b.take("max_voltage"), [](const Field& f) { return f.quantity(Dimension::voltage, {5, 1500}); });
  put(c.efficiency, b.take("efficiency"), [](const Field& f) { return f.quantity(Dimension::ratio, {0.5, 1}); });
  for (const Quantity q : {Quantity::stage, Quantity::output_voltage, Quantity::output_current, Quantity::output_power,
                           Quantity::controller_temperature, Quantity::controller_error})
    read_source(b, std::string{name(q)}, {q, i}, draft);
  b.finish();
}

}  // namespace

void read_strings(Block& top, Draft& draft) {
  const auto field = top.need("strings", "one block for each string, by name");
  if (!field) return;
  for (const auto& [name_of, entry] : field->named("one block for each string, by name")) {
    auto block = entry.block("module, wiring, tilt, azimuth, controller, and the sources power, voltage, current");
    if (!block) continue;
    Block& b = *block;
    const int i = static_cast<int>(draft.rig.strings.size());
    rig::PvString s;
    s.name = name_of;
    if (const auto f = b.need("module", "at least power: 200 W"))
      if (auto module = f->block("power, v_oc, v_mp, power_per_k, v_oc_per_k")) read_module(*module, s.module);
    if (const auto f = b.need("wiring", "for example 2s2p: two in series, two such rows in parallel"))
      if (const auto text = f->text()) {
        if (const auto w = wiring_in(*text)) {
          s.series = w->first;
          s.parallel = w->second;
        } else {
          f->fault("'" + printable(*text, 40) + "' is not a wiring, write for example 2s2p, 3s, 2p or 1");
        }
      }
    put(s.tilt_deg, b.take("tilt"), [](const Field& f) { return f.quantity(Dimension::angle, {0, 90}, "deg"); });
    const auto azimuth = s.tilt_deg > 3 ? b.need("azimuth", "deg, north 0, east 90") : b.take("azimuth");
    put(s.azimuth_deg, azimuth, [](const Field& f) { return f.quantity(Dimension::angle, {0, 360}, "deg"); });
    put(s.wire_loss, b.take("wire_loss"), [](const Field& f) { return f.quantity(Dimension::ratio, {0, 0.2}); });
    if (const auto f = b.take("controller"))
      if (auto controller = f->block("its limits and the sources stage, output_current ...")) read_controller(*controller, i, s, draft);
    for (const Quantity q : {Quantity::string_power, Quantity::string_voltage, Quantity::string_current, Quantity::string_day_energy})
      read_source(b, std::string{name(q)}, {q, i}, draft);
    b.finish();
    draft.places["strings." + name_of] = entry.place();
    draft.rig.strings.push_back(std::move(s));
  }
}

}  // namespace fw::config

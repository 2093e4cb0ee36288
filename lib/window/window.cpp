#include "window/window.h"

#include <algorithm>
#include <charconv>

#include "units/text.h"

namespace fw::window {

namespace {

bool of_string(Quantity q) { return q <= Quantity::controller_error; }

/// What a string still gives when its controller has gone to sleep; estimates.
double at_rest_below(Quantity q) {
  switch (q) {
    case Quantity::string_power:
    case Quantity::output_power: return 2;      // W
    case Quantity::string_current:
    case Quantity::output_current: return 0.1;  // A
    default: return 0;
  }
}

int count_of(const rig::Rig& rig, Quantity q) {
  if (of_string(q)) return static_cast<int>(rig.strings.size());
  switch (q) {
    case Quantity::cell_temperature: return static_cast<int>(rig.bank.sensors.size());
    case Quantity::charger_on:
    case Quantity::charger_limit:
    case Quantity::charger_current: return static_cast<int>(rig.chargers.size());
    case Quantity::heater_on: return static_cast<int>(rig.heaters.size());
    default: return 1;
  }
}

}  // namespace

Window::Window(const rig::Rig& rig) : rig_(rig) {
  for (int q = 0; q < quantity_count; ++q) {
    first_slot_.push_back(tracks_.size());
    things_.push_back(count_of(rig, static_cast<Quantity>(q)));
    for (int i = 0; i < things_.back(); ++i) {
      std::optional<Span> max_age;
      for (const auto& s : rig.sources)
        if (s.channel == Channel{static_cast<Quantity>(q), i}) max_age = s.max_age;
      tracks_.emplace_back(max_age, at_rest_below(static_cast<Quantity>(q)));
    }
  }
  for (int i = 0; i < static_cast<int>(rig.strings.size()); ++i) {
    const auto has = [&](Quantity q) { return rig.has(Channel{q, i}); };
    if (has(Quantity::string_power)) power_from_.push_back(PowerFrom::measured);
    else if (has(Quantity::string_voltage) && has(Quantity::string_current)) power_from_.push_back(PowerFrom::array_volts_amps);
    else if (has(Quantity::output_power)) power_from_.push_back(PowerFrom::output_power);
    else if (has(Quantity::output_current) && (has(Quantity::output_voltage) || has(Quantity::bank_voltage)))
      power_from_.push_back(PowerFrom::output_volts_amps);
    else power_from_.push_back(PowerFrom::none);
    std::optional<Span> max_age;
    const Quantity leading = power_from_.back() == PowerFrom::array_volts_amps ? Quantity::string_current
                             : power_from_.back() == PowerFrom::output_power   ? Quantity::output_power
                                                                               : Quantity::output_current;
    for (const auto& s : rig.sources)
      if (s.channel == Channel{leading, i}) max_age = s.max_age;
    derived_power_.emplace_back(max_age, at_rest_below(Quantity::string_power));
  }
}

std::size_t Window::slot(Channel c) const { return first_slot_[static_cast<std::size_t>(c.quantity)] + c.thing; }

const Track* Window::track(Channel c) const {
  if (c.thing < 0 || c.thing >= things_[static_cast<std::size_t>(c.quantity)]) return nullptr;
  return &tracks_[slot(c)];
}

std::optional<double> Window::value(Channel c, Elapsed now) const {
  const Track* t = track(c);
  return t ? t->value(now) : std::nullopt;
}

void Window::on_reading(const Reading& r) {
  if (!r.value || r.retained || !track(r.channel)) return;
  tracks_[slot(r.channel)].take(*r.value, r.at);
  if (of_string(r.channel.quantity)) derive_power(r.channel.thing, r.at);
}

void Window::derive_power(int i, Elapsed now) {
  const double efficiency = rig_.strings[i].controller.efficiency;
  const auto fresh = [&](Quantity q, int thing) { return value({q, thing}, now); };
  std::optional<double> power;
  switch (power_from_[i]) {
    case PowerFrom::array_volts_amps: {
      const auto v = fresh(Quantity::string_voltage, i), a = fresh(Quantity::string_current, i);
      if (v && a) power = *v * *a;
      break;
    }
    case PowerFrom::output_power:
      if (const auto w = fresh(Quantity::output_power, i)) power = *w / efficiency;
      break;
    case PowerFrom::output_volts_amps: {
      const auto a = fresh(Quantity::output_current, i);
      auto v = fresh(Quantity::output_voltage, i);
      if (!v) v = fresh(Quantity::bank_voltage, 0);
      if (v && a) power = *v * *a / efficiency;
      break;
    }
    case PowerFrom::measured:
    case PowerFrom::none: return;
  }
  if (power) derived_power_[i].take(std::max(0.0, *power), now);
}

StringMinute Window::close_string(int i, Elapsed end) {
  StringMinute m;
  Track& power = power_from_[i] == PowerFrom::measured ? at(Quantity::string_power, i) : derived_power_[i];
  const bool had_power = power.known();
  m.live = power.fresh(end);
  m.age = had_power ? end - power.last_at() : Span::max();
  const auto p = power.close(end);
  m.power_w = p.mean;
  m.power_sd_w = p.sd;
  m.power_min_w = p.least;
  m.power_max_w = p.most;
  m.samples = p.samples;
  m.from_output = power_from_[i] == PowerFrom::output_power || power_from_[i] == PowerFrom::output_volts_amps;

  Track& volts = at(Quantity::string_voltage, i);
  Track& amps = at(Quantity::string_current, i);
  m.voltage_v = volts.close(end).mean;
  m.current_a = amps.close(end).mean;
  if (!m.current_a && m.power_w && m.voltage_v && *m.voltage_v > 1) m.current_a = *m.power_w / *m.voltage_v;

  Elapsed moved = power.changed_at();
  for (const Track* t : {&volts, &amps, &at(Quantity::output_current, i), &at(Quantity::output_voltage, i)})
    if (t->known()) moved = std::max(moved, t->changed_at());
  m.still_for = had_power && m.live ? std::max(Span{0}, power.last_at() - moved) : Span{0};

  if (const auto s = at(Quantity::stage, i).value(end)) m.stage = static_cast<Stage>(static_cast<int>(*s));
  m.output_voltage_v = at(Quantity::output_voltage, i).close(end).mean;
  m.output_current_a = at(Quantity::output_current, i).close(end).mean;
  m.controller_c = at(Quantity::controller_temperature, i).value(end);
  m.error = at(Quantity::controller_error, i).value(end);
  return m;
}

RigMinute Window::close_minute(Now end) {
  RigMinute m;
  m.at = end.at;
  m.start = floor_to(end.utc - std::chrono::minutes{1}, std::chrono::minutes{1});
  m.clock_trusted = end.trusted;
  for (int i = 0; i < static_cast<int>(rig_.strings.size()); ++i) m.strings.push_back(close_string(i, end.at));

  const auto last = [&](Quantity q) { return at(q, 0).value(end.at); };
  const auto mean = [&](Quantity q) { return at(q, 0).close(end.at).mean; };
  m.bank_voltage_v = mean(Quantity::bank_voltage);
  m.bank_current_a = mean(Quantity::bank_current);
  m.load_w = mean(Quantity::load_power);
  m.bank_heater_w = mean(Quantity::bank_heater_power);
  m.irradiance_wm2 = mean(Quantity::irradiance);
  m.soc = last(Quantity::soc);
  if (const auto f = last(Quantity::charge_allowed)) m.charge_allowed = *f != 0;
  if (const auto f = last(Quantity::bank_heater_on)) m.bank_heater_on = *f != 0;
  for (int i = 0; i < static_cast<int>(rig_.bank.sensors.size()); ++i) {
    const auto c = at(Quantity::cell_temperature, i).value(end.at);
    m.cells_c.push_back(c);
    if (!c) continue;
    m.cell_min_c = m.cell_min_c ? std::min(*m.cell_min_c, *c) : *c;
    m.cell_max_c = m.cell_max_c ? std::max(*m.cell_max_c, *c) : *c;
  }
  m.air_c = last(Quantity::air_temperature);
  m.cabin_c = last(Quantity::cabin_temperature);
  m.snow_depth_cm = last(Quantity::snow_depth);
  m.wind_ms = last(Quantity::wind);
  m.heading_deg = last(Quantity::heading);
  m.pitch_deg = last(Quantity::pitch);
  m.roll_deg = last(Quantity::roll);
  m.speed_ms = last(Quantity::speed);
  m.latitude_deg = last(Quantity::latitude).value_or(rig_.site.latitude_deg);
  m.longitude_deg = last(Quantity::longitude).value_or(rig_.site.longitude_deg);
  return m;
}

std::string Window::snapshot() const {
  std::string out = "1";
  for (int q = 0; q < quantity_count; ++q)
    for (int i = 0; i < things_[q]; ++i) {
      const double ms = tracks_[first_slot_[q] + i].learned_interval_ms();
      if (ms > 0) out += ' ' + std::to_string(q) + ' ' + std::to_string(i) + ' ' + fixed(ms, 0);
    }
  return out;
}

void Window::restore(std::string_view data) {
  std::vector<long long> numbers;
  const char* p = data.data();
  const char* const end = p + data.size();
  while (p < end) {
    long long n = 0;
    const auto r = std::from_chars(p, end, n);
    if (r.ec != std::errc{}) return;
    numbers.push_back(n);
    p = r.ptr < end && *r.ptr == ' ' ? r.ptr + 1 : r.ptr;
    if (p == r.ptr && p != end) return;
  }
  if (numbers.size() % 3 != 1 || numbers[0] != 1) return;
  for (std::size_t i = 1; i < numbers.size(); i += 3) {
    const auto q = numbers[i], thing = numbers[i + 1], ms = numbers[i + 2];
    if (q < 0 || q >= quantity_count || thing < 0 || thing >= things_[static_cast<std::size_t>(q)] || ms < 0) continue;
    tracks_[first_slot_[static_cast<std::size_t>(q)] + static_cast<std::size_t>(thing)].set_learned_interval_ms(static_cast<double>(ms));
  }
}

}  // namespace fw::window

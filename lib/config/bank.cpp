#include "config/sections.h"
#include "units/text.h"

namespace fw::config {

namespace {

std::optional<double> degrees(const Field& f) { return f.quantity(Dimension::temperature, {-60, 100}); }

void read_bands(const Field& field, const rig::Bank& bank, rig::ChargeWindow& w) {
  for (const Field& item : field.list("from, to and current of each band")) {
    auto b = item.block("from, to and current");
    if (!b) continue;
    rig::ChargeBand band;
    bool ends = true;
    const auto end = [&](const char* key, double& into) {
      const auto f = b->need(key, "a cell temperature");
      const auto v = f ? degrees(*f) : std::nullopt;
      if (v) into = *v;
      ends = ends && v;
    };
    end("from", band.from_c);
    end("to", band.to_c);
    if (const auto f = b->need("current", "for example 0.2 C or 40 A")) {
      const auto text = f->text();
      const bool amps = text && text->ends_with('A');
      const auto v = !text ? std::nullopt : amps ? f->quantity(Dimension::current, {0, 10000}) : f->quantity(Dimension::charge_rate, {0, 5});
      if (v && amps && bank.capacity_ah <= 0) f->fault("amperes need the bank's capacity; write the rate, for example 0.2 C");
      if (v) band.c_rate = amps && bank.capacity_ah > 0 ? *v / bank.capacity_ah : *v;
    }
    b->finish();
    if (!ends) continue;
    if (band.from_c >= band.to_c)
      item.fault("from must be below to");
    else if (!w.bands.empty() && band.from_c < w.bands.back().to_c)
      item.fault("overlaps the band before it, which ends at " + figure(w.bands.back().to_c) + " degC");
    else if (!w.bands.empty() && band.from_c > w.bands.back().to_c)
      item.fault("leaves a gap to the band before it, which ends at " + figure(w.bands.back().to_c) + " degC");
    w.bands.push_back(band);
  }
}

void read_window(Block& b, Draft& draft) {
  rig::ChargeWindow& w = draft.rig.bank.window;
  const auto lower = b.take("lower_limit"), resume = b.take("resume"), upper = b.take("upper_limit"), upper_resume = b.take("upper_resume");
  put(w.lower_limit_c, lower, degrees);
  w.resume_c = w.lower_limit_c + 2;
  put(w.resume_c, resume, degrees);
  put(w.upper_limit_c, upper, degrees);
  w.upper_resume_c = w.upper_limit_c - 3;
  put(w.upper_resume_c, upper_resume, degrees);
  if (resume && w.resume_c <= w.lower_limit_c) resume->fault("must be above lower_limit");
  if (upper_resume && w.upper_resume_c >= w.upper_limit_c) upper_resume->fault("must be below upper_limit");
  if (w.upper_limit_c <= w.lower_limit_c && (upper || lower)) (upper ? upper : lower)->fault("upper_limit must be above lower_limit");
  if (lower && w.lower_limit_c < 0) lower->warning("charging iron phosphate cells below 0 degC ruins them unless their maker allows it");
  put(w.resume_dwell, b.take("resume_dwell"), [](const Field& f) { return f.span(seconds{0}, hours{6}); });
  if (const auto f = b.take("preferred_floor"))
    if (const auto v = degrees(*f)) {
      if (*v < w.lower_limit_c) f->fault("must not be below lower_limit");
      w.preferred_floor_c = *v;
    }
  if (const auto f = b.take("bands")) read_bands(*f, draft.rig.bank, w);
  put(w.interpolate, b.take("interpolate"), [](const Field& f) { return f.flag(); });
  put(w.discharge_lower_limit_c, b.take("discharge_lower_limit"), degrees);
  put(w.temperature_grace, b.take("temperature_grace"), [](const Field& f) { return f.span(seconds{0}, minutes{30}); });
  b.finish();
}

}  // namespace

void read_bank(Block& top, Draft& draft) {
  const auto field = top.take("bank");
  draft.rig.has_bank = field.has_value();
  auto block = field ? field->block("capacity, nominal_voltage, charge_window, and its sources") : std::nullopt;
  if (!block) return;
  Block& b = *block;
  rig::Bank& bank = draft.rig.bank;
  draft.places["bank"] = field->place();
  put(bank.capacity_ah, b.need("capacity", "for example 280 Ah"), [](const Field& f) { return f.quantity(Dimension::charge, {1, 100000}); });
  put(bank.nominal_v, b.take("nominal_voltage"), [](const Field& f) { return f.quantity(Dimension::voltage, {2, 1000}); });
  put(bank.reserve_soc, b.take("reserve"), [](const Field& f) { return f.quantity(Dimension::ratio, {0, 0.95}); });
  const auto departure = b.take("departure_reserve");
  bank.departure_reserve_soc = std::max(bank.departure_reserve_soc, bank.reserve_soc);
  put(bank.departure_reserve_soc, departure, [](const Field& f) { return f.quantity(Dimension::ratio, {0, 0.95}); });
  if (departure && bank.departure_reserve_soc < bank.reserve_soc) departure->fault("must not be below reserve");
  put(bank.self_heating, b.take("self_heating"), [](const Field& f) { return f.flag(); });
  put(bank.parallel_batteries, b.take("parallel_batteries"), [](const Field& f) { return f.whole(1, 64); });
  if (const auto f = b.take("charge_window"))
    if (auto window = f->block("lower_limit, resume, upper_limit, bands ...")) read_window(*window, draft);

  const bool one = b.has("cell_temperature"), several = b.has("cell_temperatures");
  if (const auto f = b.take("cell_temperature")) {
    bank.sensors.push_back({"cells"});
    read_source(*f, {Quantity::cell_temperature, 0}, draft);
  }
  if (const auto f = b.take("cell_temperatures")) {
    if (one && several)
      f->fault("stands beside cell_temperature: two sources for one quantity, keep one; several sensors go in here by name");
    else
      for (const auto& [sensor, entry] : f->named("one source for each cell sensor, by name")) {
        const int i = static_cast<int>(bank.sensors.size());
        bank.sensors.push_back({sensor});
        read_source(entry, {Quantity::cell_temperature, i}, draft);
      }
  }
  for (const Quantity q : {Quantity::bank_voltage, Quantity::bank_current, Quantity::soc, Quantity::charge_allowed, Quantity::bank_heater_on,
                           Quantity::bank_heater_power})
    read_source(b, std::string{name(q)}, {q, 0}, draft);
  b.finish();
}

}  // namespace fw::config

#include "config/sections.h"
#include "units/text.h"
#include "words/words.h"

namespace fw::config {

namespace {

void read_horizon(const Field& field, rig::Site& site) {
  double last = -1;
  for (const Field& item : field.list("[azimuth, elevation] pairs")) {
    const auto pair = item.list("azimuth and elevation");
    if (pair.size() != 2) {
      if (!pair.empty()) item.fault("two angles are wanted: azimuth and elevation");
      continue;
    }
    const auto azimuth = pair[0].quantity(Dimension::angle, {0, 360}, "deg");
    const auto elevation = pair[1].quantity(Dimension::angle, {-5, 90}, "deg");
    if (!azimuth || !elevation) continue;
    if (*azimuth <= last) item.fault("azimuths must rise from entry to entry");
    last = *azimuth;
    site.horizon.push_back({*azimuth, *elevation});
  }
}

void read_turbidity(const Field& field, rig::Site& site) {
  constexpr Within plausible{1, 8};
  std::array<double, 12> months{};
  if (field.is_list()) {
    const auto items = field.list("twelve figures, January first");
    if (items.size() != 12) {
      field.fault("one figure, or twelve from January on, are wanted; here stand " + std::to_string(items.size()));
      return;
    }
    for (std::size_t i = 0; i < 12; ++i) {
      const auto v = items[i].number(plausible);
      if (!v) return;
      months[i] = *v;
    }
  } else {
    const auto v = field.number(plausible);
    if (!v) return;
    months.fill(*v);
  }
  site.linke_turbidity = months;
}

}  // namespace

void read_site(Block& top, Draft& draft) {
  const auto field = top.need("site", "latitude, longitude, altitude and timezone");
  auto block = field ? field->block("latitude, longitude, altitude and timezone") : std::nullopt;
  if (!block) return;
  Block& b = *block;
  rig::Site& site = draft.rig.site;
  const auto angle = [](double from, double to) { return [=](const Field& f) { return f.quantity(Dimension::angle, {from, to}, "deg"); }; };
  put(site.latitude_deg, b.need("latitude", "degrees, north positive"), angle(-90, 90));
  put(site.longitude_deg, b.need("longitude", "degrees, east positive"), angle(-180, 180));
  put(site.altitude_m, b.take("altitude"), [](const Field& f) { return f.quantity(Dimension::length, {-500, 9000}); });
  if (const auto f = b.need("timezone", "an IANA name, for example America/Denver"))
    if (const auto text = f->text()) {
      if (const auto words = Words::in_zone(*text, false))
        site.timezone = *text;
      else
        f->fault("'" + printable(*text, 60) + "' is not an IANA time zone, write for example America/Denver or Europe/Zurich");
    }
  put(site.albedo, b.take("albedo"), [](const Field& f) { return f.number({0, 1}); });
  if (const auto f = b.take("linke_turbidity")) read_turbidity(*f, site);
  if (const auto f = b.take("horizon")) read_horizon(*f, site);
  put(site.heading_deg, b.take("heading"), angle(0, 360));
  put(site.pitch_deg, b.take("pitch"), angle(-30, 30));
  put(site.roll_deg, b.take("roll"), angle(-30, 30));

  for (const Quantity q : {Quantity::air_temperature, Quantity::cabin_temperature, Quantity::irradiance, Quantity::snow_depth, Quantity::wind})
    read_source(b, std::string{name(q)}, {q, 0}, draft);
  if (const auto f = b.take("live"))
    if (auto live = f->block("sources of position and attitude")) {
      for (const Quantity q : {Quantity::latitude, Quantity::longitude, Quantity::heading, Quantity::pitch, Quantity::roll, Quantity::speed})
        read_source(*live, std::string{name(q)}, {q, 0}, draft);
      live->finish();
    }
  b.finish();
}

void read_loads(Block& top, Draft& draft) {
  const auto field = top.take("loads");
  auto block = field ? field->block("the source 'power'") : std::nullopt;
  if (!block) return;
  read_source(*block, "power", {Quantity::load_power, 0}, draft);
  block->finish();
}

}  // namespace fw::config

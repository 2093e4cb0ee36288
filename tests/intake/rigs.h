#pragma once
// Small rigs for the tests of this room, written as an owner would.
#include <doctest/doctest.h>

#include <string>

#include "config/load.h"
#include "intake/intake.h"
#include "units/text.h"

namespace fw {

inline rig::Rig rig_of(const std::string& yaml) {
  auto loaded = config::load_text(yaml, "test.yaml");
  std::string faults;
  for (const Fault& f : loaded.faults) faults += f.text() + "\n";
  INFO(faults);
  REQUIRE(loaded.rig);
  return std::move(*loaded.rig);
}

/// A rig with one string on `roof` and whatever stands in `bank` (indented by two) and `site`.
inline rig::Rig small_rig(const std::string& bank, const std::string& site = "", const std::string& zone = "UTC", const std::string& rest = "") {
  return rig_of("rig: test\nsite:\n  latitude: 45\n  longitude: -93\n  timezone: " + zone + "\n" + site +
                "strings: {roof: {module: {power: 400 W}, wiring: 2s, power: {topic: roof, pointer: /w, unit: W}}}\n"
                "bank:\n  capacity: 200 Ah\n" + bank + rest);
}

inline Utc utc_of(const char* iso) { return *utc_in(iso); }

/// Messages one after the other, the clock trusted unless said otherwise.
struct Inlet {
  explicit Inlet(const rig::Rig& r) : intake(r) {}
  intake::Intake intake;
  Utc now = utc_of("2026-01-15T12:00:00Z");
  bool trusted = true;

  intake::Taken take(const std::string& topic, const std::string& payload, bool retain = false) {
    return intake.take({elapsed_ms(ms_of(now)), topic, payload, retain}, Now{elapsed_ms(ms_of(now)), now, trusted});
  }
  /// The value of the only reading, or nothing.
  std::optional<double> value(const std::string& topic, const std::string& payload) {
    const auto t = take(topic, payload);
    return t.readings.size() == 1 ? t.readings[0].value : std::nullopt;
  }
};

}  // namespace fw

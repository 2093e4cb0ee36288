#include "intake/plausible.h"

#include <doctest/doctest.h>

using namespace fw;
using intake::Around;
using intake::looks_like;

TEST_CASE("values that fit only another unit are told, likely ones are left alone") {
  Around cold;  // a rig in frost, nobody charging
  cold.air_c = -6;
  Around lived_in = cold;
  lived_in.cabin_c = 21;
  Around summer;
  summer.air_c = 31;
  Around bank12;
  bank12.bank_nominal_v = 12.8;
  bank12.bank_capacity_ah = 200;
  Around falling = bank12;
  falling.soc_per_h = -0.04;
  Around warmed = cold;
  warmed.warmed = true;
  struct Row { const char* what; Quantity q; double value; const Around* around; const char* unit; };
  for (const Row& r : {Row{"cells far too warm for the frost around them", Quantity::cell_temperature, 37.4, &cold, "degF"},
                       Row{"the second of them", Quantity::cell_temperature, 41.2, &cold, "degF"},
                       Row{"cells as warm as a heated cabin", Quantity::cell_temperature, 18, &lived_in, ""},
                       Row{"a warm bank after hours of heat", Quantity::cell_temperature, 25, &warmed, ""},
                       Row{"cells on a hot day", Quantity::cell_temperature, 38, &summer, ""},
                       Row{"kelvin", Quantity::cell_temperature, 276, &cold, "K"},
                       Row{"tenths of kelvin", Quantity::cell_temperature, 2760, &cold, "dK"},
                       Row{"tenths of a degree", Quantity::cell_temperature, 145, &lived_in, "ddegC"},
                       Row{"a warm cabin", Quantity::cabin_temperature, 24, &cold, ""},
                       Row{"a cabin in degF", Quantity::cabin_temperature, 70, &cold, "degF"},
                       Row{"a bank in mV", Quantity::bank_voltage, 12800, &bank12, "mV"},
                       Row{"a bank in tenths of V", Quantity::bank_voltage, 132, &bank12, "dV"},
                       Row{"a bank being charged", Quantity::bank_voltage, 14.4, &bank12, ""},
                       Row{"a flat bank", Quantity::bank_voltage, 10.5, &bank12, ""},
                       Row{"a current the state of charge does not show", Quantity::bank_current, -4200, &falling, "mA"},
                       Row{"a small current in mA", Quantity::bank_current, -800, &falling, "mA"},
                       Row{"a strong but true current", Quantity::bank_current, -8, &falling, ""},
                       Row{"a starter's current", Quantity::bank_current, -300, &bank12, ""},
                       Row{"a percentage taken for a fraction", Quantity::soc, 71, &bank12, "%"},
                       Row{"a full bank", Quantity::soc, 1.0, &bank12, ""},
                       Row{"the filler of a 16-bit sender", Quantity::bank_voltage, 65535, &bank12, ""}}) {
    CAPTURE(r.what);
    CHECK(std::string{looks_like(r.q, r.value, *r.around).value_or("")} == r.unit);
  }
}

TEST_CASE("the suspicion in words") {
  CHECK(intake::looks_like_text(Quantity::cell_temperature, 37.4, "degF") == "cell temperature 37 looks like °F, not °C");
  CHECK(intake::looks_like_text(Quantity::bank_current, -4200, "mA") == "current -4200 looks like mA, not A");
}

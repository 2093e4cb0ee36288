#pragma once
// Runs a scene minute by minute: what each string and the bank really did. Test only.
#include <string>
#include <vector>

#include "score/generated/scene.h"
#include "score/generated/weather.h"

namespace fw::score {

enum class RealStage { off, bulk, absorption, floating, inhibited };

struct StringTruth {
  float clear_w = 0, available_w = 0;        ///< clean, within the controller's limits: cloudless, under the real sky
  float shaded_w = 0, snowy_w = 0, filmed_w = 0, rimed_w = 0;   ///< one loss after the other
  float potential_w = 0;                     ///< with mishaps, before the bank has its say
  float actual_w = 0, volts = 0, amps = 0;   ///< array side
  float snow_loss = 0, film = 0, rime = 0, depth_cm = 0, cover = 0;
  RealStage stage = RealStage::off;
  bool outage = false, live = true, frozen = false, absurd = false, held = false, limited = false;
};
struct BankTruth {
  float soc = 0.5F, volts = 13, amps = 0, cell_c = 10, cabin_c = 15, load_w = 50;
  bool permitted = true;
};
struct Happening {
  long at_min = 0;
  std::string kind, string, detail;
};
struct World {
  Scene scene;
  std::vector<WeatherMinute> weather;
  std::vector<float> sun_el;
  std::vector<std::vector<StringTruth>> strings;   ///< [string][minute]
  std::vector<BankTruth> bank;
  std::vector<Happening> happenings;
};

World world_of(const Scene& scene);

}  // namespace fw::score

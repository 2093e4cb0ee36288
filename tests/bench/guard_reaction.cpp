// Reaction of the guard: one reading in, effects out. A two-sensor bank, two chargers; readings that cross the
// limit and back. Shows the time in the guard alone, not the broker's. Prints a checksum of what was said.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <vector>

#include "guard/guard.h"

using namespace fw;

int main() {
  rig::Rig r;
  r.name = "bench";
  r.bank.capacity_ah = 200;
  r.bank.sensors = {{"a"}, {"b"}};
  r.bank.window.resume_dwell = Span{0};
  for (const char* n : {"one", "two"}) {
    rig::Charger c;
    c.name = n;
    c.command = {std::string("c/") + n, "on", "off"};
    c.rated_a = 10;
    r.chargers.push_back(c);
  }
  const Words words = *Words::in_zone("UTC", false);
  guard::Guard g(r, words);
  std::vector<double> us;
  std::size_t sum = 0, withdrawals = 0;
  constexpr int readings = 200'000;
  for (int i = 0; i < readings; ++i) {
    const Now now{elapsed_ms(1'768'000'000'000LL + i * 500LL), utc_ms(1'768'000'000'000LL + i * 500LL), true};
    const double c = 1.6 + 2.0 * ((i / 4000) % 2 ? 1 - (i % 4000) / 2000.0 : (i % 4000) / 2000.0 - 1);
    const auto t0 = std::chrono::steady_clock::now();
    g.on_reading({{Quantity::cell_temperature, i % 2}, now.at, {}, c, Gone::none, false}, now);
    auto effects = g.take_effects();
    const auto t1 = std::chrono::steady_clock::now();
    us.push_back(std::chrono::duration<double, std::micro>(t1 - t0).count());
    for (const auto& e : effects)
      if (const auto* p = std::get_if<Publish>(&e)) {
        sum = sum * 31 + p->payload.size() + p->topic.size();
        withdrawals += p->payload == "off";
      }
  }
  std::sort(us.begin(), us.end());
  double total = 0;
  for (const double u : us) total += u;
  std::printf("guard reaction: %d readings, median %.2f us, p99 %.2f us, worst %.0f us, %.0f readings/s, %zu offs, checksum %zx\n", readings,
              us[us.size() / 2], us[us.size() * 99 / 100], us.back(), readings / total * 1e6, withdrawals, sum);
}

#include "guard/heater_line.h"

#include "guard/guard.h"
#include "guard/wire.h"

namespace fw::guard {

namespace {
constexpr double soc_deadband = 0.03;
}

void HeaterLine::say(Now now, std::vector<Effect>& out) {
  told_ = true;
  said_ = now.at;
  if (!heater_.command.configured()) return;
  out.emplace_back(on() ? heat_on_for(heater_, permit_valid_for) : heat_off_for(heater_));
}

void HeaterLine::want(std::optional<double> c, std::optional<double> soc, Now now, std::vector<Effect>& out) {
  Heat next = heat_;
  if (!c || !soc) {
    next = Heat::unknown;
  } else {
    const bool was_wanted = heat_ == Heat::on || heat_ == Heat::reserve;
    const bool wanted = *c <= heater_.on_below_c || (was_wanted && *c < heater_.off_above_c);
    const double enough = heater_.min_soc + (heat_ == Heat::on ? 0 : soc_deadband);
    next = !wanted ? Heat::off : *soc > enough ? Heat::on : Heat::reserve;
  }
  if (told_ && next == heat_) return;
  const bool was_on = on();
  heat_ = next;
  if (!told_ || on() != was_on) {
    contrary_since_.reset();
    say(now, out);
    if (readback_ && *readback_ != on()) contrary_since_ = now.at;
  }
}

std::optional<Elapsed> HeaterLine::next_deadline() const {
  if (!told_ || !heater_.command.configured()) return std::nullopt;
  return said_ + (on() ? permit_renewed_every : refusal_repeated_every);
}

void HeaterLine::advance(Now now, std::vector<Effect>& out) {
  if (told_ && now.at - said_ >= (on() ? permit_renewed_every : refusal_repeated_every)) say(now, out);
}

void HeaterLine::on_readback(bool is_on, Now now) {
  readback_ = is_on;
  if (!told_ || is_on == on())
    contrary_since_.reset();
  else if (!contrary_since_)
    contrary_since_ = now.at;
}

void HeaterLine::farewell(std::vector<Effect>& out) {
  heat_ = Heat::unknown;
  if (heater_.command.configured()) out.emplace_back(heat_off_for(heater_));
}

}  // namespace fw::guard

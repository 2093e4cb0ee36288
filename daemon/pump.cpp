#include "pump.h"

namespace fw {

void perform(std::vector<Effect> effects, const Hands& hands) {
  if (effects.empty()) return;
  std::vector<Row> rows;
  bool notices = false, lines = false;
  for (Effect& e : effects) {
    if (const auto* p = std::get_if<Publish>(&e)) {
      if (p->notice_id.empty()) hands.publish(*p);
      else notices = true;
    } else if (auto* s = std::get_if<Store>(&e)) {
      rows.push_back(std::move(s->row));
    } else {
      lines = true;
    }
  }
  if (!rows.empty()) hands.store(std::move(rows));
  if (notices)
    for (const Effect& e : effects)
      if (const auto* p = std::get_if<Publish>(&e); p && !p->notice_id.empty()) hands.publish(*p);
  if (lines)
    for (const Effect& e : effects)
      if (const auto* l = std::get_if<LogLine>(&e)) hands.log(*l);
}

}  // namespace fw

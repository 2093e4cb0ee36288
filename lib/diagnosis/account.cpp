#include <algorithm>

#include "diagnosis/state.h"

namespace fw::diagnosis {

LossSplit split_of(const Verdict& v, const StringLook& look, const Opinion& o, double open_now_w, bool bank_cold) {
  LossSplit s;
  const double clear = v.clear_sky_w;
  const double open_now = std::min(open_now_w, std::max(clear, look.limit_w));
  const double expected = v.expected_w;
  s.cloud_w = clear - open_now;
  s.shade_w = open_now - expected;
  if (!v.measured_w) {
    s.no_data_w = clear - s.cloud_w - s.shade_w;
    return s;
  }
  s.made_w = *v.measured_w;
  const double rest = clear - s.cloud_w - s.shade_w - s.made_w;
  // film lies under whatever else there is
  switch (v.cause) {
    case Cause::snow: s.snow_w = rest; break;
    case Cause::soiling: s.soiling_w = rest; break;
    case Cause::shade: s.shade_w += rest; break;
    case Cause::curtailed: (bank_cold ? s.cold_w : s.curtailed_w) = rest; break;
    case Cause::outage: s.outage_w = rest; break;
    case Cause::stale: s.no_data_w = rest; break;
    case Cause::unsure: s.unexplained_w = rest; break;
    case Cause::cloud:
    case Cause::clear:
    case Cause::dark: {
      // what the sky does not explain: a film when one is known, a cover when one is likely, else the sky after all
      const double film = expected * std::clamp(1 - o.film_pass, 0.0, 0.4) *
                          std::min(1.0, o.probability[static_cast<std::size_t>(Cause::soiling)] * 2);
      if (rest > 0 && film > 0) s.soiling_w = std::min(rest, film);
      if (rest > 0 && o.snow > 0.5) s.snow_w = rest - s.soiling_w;
      s.cloud_w += rest - s.soiling_w - s.snow_w;
      break;
    }
  }
  // the sum is exact by construction; rounding of the additions goes where nobody is blamed
  s.unexplained_w += clear - s.sum();
  return s;
}

}  // namespace fw::diagnosis

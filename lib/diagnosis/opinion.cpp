#include "diagnosis/opinion.h"

#include <algorithm>
#include <cmath>

namespace fw::diagnosis {

namespace {

constexpr double shade_below = 0.90;
constexpr double rating_off = 0.05;       ///< so much may be missing for good, before a string is known; an estimate
constexpr double no_beam_share = 0.3;     ///< of the clear light: less than this comes without beam; an estimate
/// With two causes at work the local one is named when it takes this share of what the sky takes (in ln).
constexpr double local_share = 0.4, film_share = 1.0;

/// Chance that the share of light is under a limit when `share` is known to a few per cent.
double under(double share, double limit, double sd) { return 1 / (1 + std::exp((share - limit) / (0.55 * sd))); }

}  // namespace

Opinion opinion_of(const StringStates& states, const Belief& belief, double held_back, const StringLook& look, double share,
                   double cloudy, double behind, double shade_now, bool settled, bool icy) {
  Opinion o;
  std::array<double, cause_count>& p = o.probability;
  double counts = 1;      // of a row's belief, what is not put down to holding back
  const auto add = [&](Cause c, double v) { p[static_cast<std::size_t>(c)] += v * counts; };
  const double made_share = std::clamp(look.measured_w / std::max(1.0, look.clear_w), 0.0, 1.0);
  double held_first = 0;
  double snow_sum = 0, snow_pass = 0;
  const double sky_here = std::clamp(share, 0.02, 1.2);
  for (int h = 0; h < states.size(); ++h) {
    const double b = belief[static_cast<std::size_t>(h)];
    if (b < 1e-6) continue;
    const StringState& s = states[h];
    // of what is held back and what never came, the greater counts
    const double comes = s.kind == Kind::snow || s.kind == Kind::open ? s.pass : s.kind == Kind::clean ? std::min(1.0, shade_now) : 1;
    const bool never_came = 1 - comes > 2 * (comes - made_share);
    counts = never_came ? 1 : 1 - held_back;
    if (!never_came) held_first += b * held_back;
    // the light there must be for this state to make the measured power
    const double light = s.kind == Kind::shade || s.pass < 0.03 || !look.carries()
                             ? sky_here
                             : std::clamp(std::exp(look.ratio_ln) / s.pass, 0.02, 1.3);
    const double sky_loss = -std::log(std::min(light, 1.0));
    const auto local = [&](Cause c, double pass) {
      const double mine = -std::log(std::max(pass, 0.001));
      // of two at work the greater is named
      if (-std::log(std::max(shade_now, 0.001)) > std::max(mine, 0.1)) c = Cause::shade;
      const double named_from = (c == Cause::soiling ? film_share : local_share) * sky_loss;
      const double q = mine >= named_from ? 1.0 : std::exp(-6 * (named_from - mine));
      add(c, b * q);
      add(Cause::cloud, b * (1 - q));
    };
    switch (s.kind) {
      case Kind::snow:
        snow_sum += b;
        snow_pass += b * s.pass;
        if (s.pass < snow_below) {
          o.snow += b;
          local(Cause::snow, s.pass);
        } else {
          add(Cause::clear, b);
        }
        break;
      case Kind::frost:
        o.frost += b;
        local(Cause::snow, s.pass);
        break;
      case Kind::film:
        // a deviation that stays; whether it is dirt shows over days only (film.h)
        if (look.film_pass < 1) local(Cause::soiling, look.film_pass * s.pass);
        else {
          const double c = under(light, cloud_below, 0.02);
          add(Cause::cloud, b * c);
          add(Cause::clear, b * (1 - c));
        }
        break;
      case Kind::shade: {
        o.shade += b;
        // a shadow takes beam, and under cloud there is little
        const double beam_share = look.beam_w / std::max(1.0, look.shaded_clear_w());
        const double beam = beam_share * std::clamp((sky_here - no_beam_share) / (1 - no_beam_share), 0.0, 1.0);
        const double rest = std::max(sky_here - beam, 0.01);
        local(Cause::shade, (beam * s.pass + rest * (0.5 + 0.5 * s.pass)) / (beam + rest));
        break;
      }
      case Kind::leaf:
        // after snow a covered corner looks just like a leaf
        if (icy) {
          o.snow += b;
          snow_sum += b;
          snow_pass += b * s.pass;
          local(Cause::snow, s.pass);
          break;
        }
        o.leaf += b;
        local(Cause::shade, s.pass);
        break;
      case Kind::half:
        o.half += b;
        add(Cause::outage, b);
        break;
      case Kind::open:
        o.open += b;
        add(Cause::outage, b);
        break;
      case Kind::clean: {
        // of a string that is not known yet, what it makes says half and the sky as believed the other half
        const double c = !look.carries() ? cloudy
                         : settled       ? under(light, cloud_below, 0.02)
                                         : 0.5 * (cloudy + under(light, cloud_below - rating_off, rating_off));
        if (behind > 0.5) {
          add(Cause::shade, b);
          break;
        }
        if (shade_now < shade_below && -std::log(shade_now) >= local_share * sky_loss) add(Cause::shade, b);
        else if (look.film_pass < 1) local(Cause::soiling, look.film_pass);
        else {
          add(Cause::cloud, b * c);
          add(Cause::clear, b * (1 - c));
        }
        break;
      }
    }
  }
  o.snow_pass = snow_sum > 1e-9 ? snow_pass / snow_sum : 1;
  o.held_back = held_back;
  counts = 1;
  add(Cause::curtailed, held_first);
  double sum = 0;
  for (double v : p) sum += v;
  if (sum > 0)
    for (double& v : p) v /= sum;

  std::size_t best = 0, second = 0;
  for (std::size_t i = 1; i < p.size(); ++i)
    if (p[i] > p[best]) best = i;
  second = best == 0 ? 1 : 0;
  for (std::size_t i = 0; i < p.size(); ++i)
    if (i != best && p[i] > p[second]) second = i;
  o.cause = static_cast<Cause>(best);
  o.confidence = p[best];
  const auto either = [&](Cause a, Cause b) {
    return (best == static_cast<std::size_t>(a) && second == static_cast<std::size_t>(b)) ||
           (best == static_cast<std::size_t>(b) && second == static_cast<std::size_t>(a));
  };
  if (o.confidence < 0.55 && either(Cause::cloud, Cause::snow)) {
    o.cause = Cause::unsure;
    o.reason = "cloud or snow";
    o.confidence = p[best] + p[second];
  }
  return o;
}

}  // namespace fw::diagnosis

#pragma once
// What the glass lets through at an angle (incidence angle modifier, 1 at normal incidence).
#include "sky/plane.h"

namespace fw::roof {

enum class Glass {
  physical,     ///< clean flat glass: De Soto et al. 2006, Solar Energy 80, 78 (n 1.526, 4 /m, 2 mm)
  ashrae,       ///< 1 - b (1/cos - 1), b 0.05, not below 0
  martin_ruiz,  ///< Martin & Ruiz 2001, with a_r for dirt: 0.16 clean, 0.17 to 0.20 dusty, 0.27 dirty
};

struct GlassModel {
  Glass kind = Glass::physical;
  double a_r = 0.16;  ///< martin_ruiz only, 0.1..0.5
};

/// For the beam; cos_aoi -1..1, 0 when the sun is behind the plane. 0..1.
double iam_beam(double cos_aoi, const GlassModel& glass = {});

/// For uniform light of the sky, of a 0.5 deg band above the horizon and of the ground, weighted by
/// incidence over the part of each that the plane sees. tilt_deg 0..90. By quadrature (Marion
/// 2017, Solar Energy 147, 344 does the same on a grid). A flat plane sees no ground: ground 0 then.
struct DiffuseIam {
  double sky = 1, horizon = 1, ground = 1;
};
DiffuseIam iam_diffuse(double tilt_deg, const GlassModel& glass = {});

/// Martin & Ruiz's closed form for sky and ground (Prog. Photovolt. 2005, with c1 = 0.4244 and
/// c2 = a_r/2 - 0.154); up to 0.011 above exact integration for the ground.
double iam_sky_martin_ruiz(double tilt_deg, double a_r);
double iam_ground_martin_ruiz(double tilt_deg, double a_r);

}  // namespace fw::roof

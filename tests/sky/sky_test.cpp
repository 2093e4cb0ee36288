#include <cmath>

#include "reference_table.h"
#include "sky/clear.h"
#include "sky/cloud.h"
#include "sky/horizon.h"
#include "sky/plane.h"
#include "sky/state.h"
#include "sun/air.h"
#include "sun/angle.h"

using namespace fw;
using namespace fw::sky;
using fw::test::reference_table;

TEST_CASE("the cloudless sky after Ineichen and Perez") {
  for (const auto& r : reference_table("sky/data/clear_sky_ineichen.csv")) {
    const double elevation = r.number("apparent_elevation_deg"), linke = r.number("linke_turbidity"),
                 altitude = r.number("altitude_m"), extra = r.number("dni_extra_w_m2");
    CAPTURE(elevation);
    CAPTURE(linke);
    CAPTURE(altitude);
    const Irradiance given = clear_ineichen(elevation, r.number("airmass_absolute"), linke, altitude, extra);
    FW_NEAR(given.ghi_wm2, r.number("ghi_w_m2"), 0.01);
    FW_NEAR(given.dni_wm2, r.number("dni_w_m2"), 0.01);
    FW_NEAR(given.dhi_wm2, r.number("dhi_w_m2"), 0.01);
    const double airmass = sun::airmass_absolute(sun::airmass_relative(elevation), r.number("pressure_pa"));
    const Irradiance own = clear_ineichen(elevation, airmass, linke, altitude, extra);
    FW_NEAR(own.ghi_wm2, r.number("ghi_w_m2"), 0.1);
    FW_NEAR(own.dni_wm2, r.number("dni_w_m2"), 0.1);
    FW_NEAR(own.dhi_wm2, r.number("dhi_w_m2"), 0.1);
  }
}

TEST_CASE("the cloudless sky after Haurwitz") {
  for (const auto& r : reference_table("sky/data/clear_sky_haurwitz.csv"))
    FW_NEAR(clear_haurwitz_wm2(r.number("apparent_elevation_deg")), r.number("ghi_w_m2"), 0.01);
  CHECK(clear_haurwitz_wm2(-5) == 0);
}

TEST_CASE("light on a tilted plane: beam, sky after Hay and Davies and after Perez, ground") {
  for (const auto& r : reference_table("sky/data/plane_of_array.csv")) {
    const double elevation = r.number("apparent_elevation_deg"), tilt = r.number("surface_tilt_deg"),
                 extra = r.number("dni_extra_w_m2");
    CAPTURE(r.text("sky"));
    CAPTURE(tilt);
    const Irradiance light{r.number("ghi_w_m2"), r.number("dni_w_m2"), r.number("dhi_w_m2")};
    const double cos_aoi = cos_incidence(sun::direction(elevation, r.number("sun_azimuth_deg")),
                                         normal({tilt, r.number("surface_azimuth_deg")}));
    FW_NEAR(std::acos(cos_aoi) * sun::deg_per_rad, r.number("aoi_deg"), 1e-4);
    const double cz = sun::sin_deg(elevation), ct = sun::cos_deg(tilt);
    FW_NEAR(direct_wm2(light.dni_wm2, cos_aoi), r.number("beam_w_m2"), 0.01);
    FW_NEAR(sky_diffuse_hay_davies_wm2(light, extra, cz, cos_aoi, ct), r.number("sky_diffuse_haydavies_w_m2"), 0.01);
    FW_NEAR(sky_diffuse_perez_wm2(light, extra, 90 - elevation, r.number("airmass_relative"), cos_aoi, tilt),
            r.number("sky_diffuse_perez1990_w_m2"), 0.01);
    FW_NEAR(ground_diffuse_wm2(light.ghi_wm2, r.number("albedo"), ct), r.number("ground_diffuse_w_m2"), 0.01);
    const double rest = direct_wm2(light.dni_wm2, cos_aoi) + ground_diffuse_wm2(light.ghi_wm2, r.number("albedo"), ct);
    FW_NEAR(rest + sky_diffuse_hay_davies_wm2(light, extra, cz, cos_aoi, ct), r.number("total_haydavies_w_m2"), 0.01);
    FW_NEAR(rest + sky_diffuse_perez_wm2(light, extra, 90 - elevation, r.number("airmass_relative"), cos_aoi, tilt),
            r.number("total_perez1990_w_m2"), 0.01);
  }
}

TEST_CASE("cloud cover after Kasten and Czeplak") {
  for (const auto& [cover, share] : {std::pair{0.0, 1.0}, {0.5, 0.92896}, {0.75, 0.71799}, {1.0, 0.25}})
    FW_NEAR(share_under_cloud(cover), share, 1e-4);  // 1 - 0.75 N^3.4, worked by hand
  CHECK(share_under_cloud(-1) == 1);
  CHECK(share_under_cloud(2) == 0.25);
}

TEST_CASE("diffuse share after Erbs") {
  for (const auto& [kt, share] : {std::pair{0.0, 1.0}, {0.1, 0.991}, {0.22, 0.9802}, {0.5, 0.65915}, {0.8, 0.16565}, {0.9, 0.165}})
    FW_NEAR(diffuse_share_erbs(kt), share, 2e-3);  // the published polynomial, worked by hand
  double before = 1.01;
  for (double kt = 0; kt < 0.74; kt += 0.01) {
    CHECK(diffuse_share_erbs(kt) <= before);
    before = diffuse_share_erbs(kt);
  }
}

TEST_CASE("a sky between cloudless and overcast keeps its sum and never outshines the sun") {
  for (double elevation : {0.2, 3.0, 12.0, 35.0, 80.0}) {
    const Irradiance clear = clear_ineichen(elevation, sun::airmass_relative(elevation), 2.5, 0, 1400);
    double dni = 1e9;
    for (double share : {1.0, 0.9, 0.7, 0.4, 0.2, 0.05, 0.0}) {
      CAPTURE(elevation);
      CAPTURE(share);
      const Irradiance s = under_share(clear, share, elevation);
      FW_NEAR(s.ghi_wm2, clear.ghi_wm2 * share, 1e-9);
      FW_NEAR(s.dhi_wm2 + s.dni_wm2 * sun::sin_deg(elevation), s.ghi_wm2, 1e-9);
      CHECK(s.dni_wm2 <= dni + 1e-9);
      dni = s.dni_wm2;
    }
    if (elevation >= 1) {
      FW_NEAR(under_share(clear, 1, elevation).dni_wm2, clear.dni_wm2, 1e-6);
      CHECK(under_share(clear, 0.2, elevation).dni_wm2 < 0.05 * clear.dni_wm2);
    }
    const Irradiance e = split_erbs(clear.ghi_wm2, elevation, 1400);
    FW_NEAR(e.dhi_wm2 + e.dni_wm2 * sun::sin_deg(elevation), clear.ghi_wm2, 1e-9);
  }
}

TEST_CASE("default turbidity follows season, hemisphere, height and climate") {
  const auto low = default_turbidity({48, 9, 200}), high = default_turbidity({40, -105, 2200}, Climate::dry),
             south = default_turbidity({-43, 171, 200}), tropic = default_turbidity({0, 30, 0});
  FW_NEAR(low[0], 2.4, 0.2);    // measured low winter sites: about 2.6
  CHECK(low[6] > low[0] + 0.5);
  CHECK(south[0] > south[6] + 0.5);
  CHECK(high[0] > 1.3);         // measured high, dry winter sites: 1.4 to 2.1
  CHECK(high[0] < 2.1);
  FW_NEAR(tropic[0], tropic[6], 0.01);
  for (int day = 1; day <= 366; ++day) {
    const double t = turbidity_on(low, day);
    CHECK(t >= low[0] - 0.2);
    CHECK(t <= low[7] + 0.2);
    FW_NEAR(turbidity_on(low, day), turbidity_on(low, day % 366 + 1), 0.03);
  }
}

TEST_CASE("horizon: straight between points, around north, and what it leaves of the sky") {
  CHECK(Horizon().flat());
  CHECK(Horizon().sky_share() == 1);
  const Horizon h({{350, 10}, {10, 20}, {180, 0}});
  FW_NEAR(h.elevation_deg(0), 15, 1e-9);
  FW_NEAR(h.elevation_deg(355), 12.5, 1e-9);
  FW_NEAR(h.elevation_deg(-10), 10, 1e-9);
  FW_NEAR(h.elevation_deg(95), 10, 1e-9);
  FW_NEAR(h.elevation_deg(265), 5, 1e-9);
  FW_NEAR(Horizon({{0, 30}}).sky_share(), 0.75, 1e-9);  // cos^2 of 30 deg
  FW_NEAR(Horizon({{77, 30}}).elevation_deg(300), 30, 1e-9);

  Site site = site_at({45, -93, 260});
  site.horizon = Horizon({{0, 30}});
  const State s = clear_state(site, *utc_in("2026-01-15T18:15:00Z"));
  CHECK(s.sun.apparent_elevation_deg > 20);
  CHECK(s.sun_behind_horizon);
}

TEST_CASE("noon of 15 January at 45 N 93 W stands the sun at 23.8 deg, azimuth 174.5") {
  const State s = clear_state(site_at({45, -93, 260}), *utc_in("2026-01-15T18:00:00Z"), -5);
  FW_NEAR(s.sun.apparent_elevation_deg, 23.8, 0.2);
  FW_NEAR(s.sun.azimuth_deg, 174.5, 0.2);
  FW_NEAR(under_cloud(s, 1).now.ghi_wm2, 0.25 * s.clear.ghi_wm2, 1e-6);
  FW_NEAR(under_measured_ghi(s, 100).now.ghi_wm2, 100, 1e-9);
  FW_NEAR(under_measured_ghi(s, 100).clear_share, 100 / s.clear.ghi_wm2, 1e-9);
  const State night = clear_state(site_at({45, -93, 260}), *utc_in("2026-01-15T06:00:00Z"), -5);
  CHECK(night.clear.ghi_wm2 == 0);
  CHECK(under_cloud(night, 0.5).now.ghi_wm2 == 0);
  CHECK(under_measured_ghi(night, 3).now.dni_wm2 == 0);
}

TEST_CASE("no place, hour or air makes the sky senseless") {
  sun::Ephemeris ephemeris;
  for (double latitude : {-90.0, -45.0, 0.0, 66.0, 90.0})
    for (double altitude : {-400.0, 0.0, 5000.0})
      for (double turbidity : {1.0, 2.5, 10.0})
        for (int hour = 0; hour < 24 * 365; hour += 61) {
          Site site{{latitude, 15, altitude}, {}, {}};
          site.turbidity.fill(turbidity);
          const State s = clear_state(site, *utc_in("2026-01-01T00:00:00Z") + hours{hour}, ephemeris, -40);
          for (const State& x : {s, under_cloud(s, 0.8), under_share_of_clear(s, 1.3), under_measured_ghi(s, 40)})
            for (double v : {x.clear.ghi_wm2, x.clear.dni_wm2, x.clear.dhi_wm2, x.now.ghi_wm2, x.now.dni_wm2, x.now.dhi_wm2,
                             sky_diffuse_perez_wm2(x.now, x.dni_extra_wm2, x.sun.apparent_zenith_deg(), x.airmass_relative, 0.1, 90),
                             sky_diffuse_hay_davies_wm2(x.now, x.dni_extra_wm2, x.towards_sun.up, 0.1, 0)}) {
              CHECK(std::isfinite(v));
              CHECK(v >= 0);
              CHECK(v < 2500);
            }
        }
}

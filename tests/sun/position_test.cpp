#include "sun/position.h"

#include <libnova/aberration.h>
#include <libnova/nutation.h>
#include <libnova/precession.h>
#include <libnova/sidereal_time.h>
#include <libnova/solar.h>
#include <libnova/transform.h>

#include <cmath>
#include <random>

#include "reference_table.h"
#include "sun/air.h"
#include "sun/angle.h"

using namespace fw;
using namespace fw::sun;
using fw::test::reference_table;

namespace {

double separation_deg(double el1, double az1, double el2, double az2) {
  const Direction a = direction(el1, az1), b = direction(el2, az2);
  const double dx = a.east - b.east, dy = a.north - b.north, dz = a.up - b.up;
  return 2 * std::asin(std::min(0.5 * std::sqrt(dx * dx + dy * dy + dz * dz), 1.0)) * deg_per_rad;
}

}  // namespace

TEST_CASE("an instant written in two zones has one sun") {
  // Half an hour before its transit, in round figures.
  for (const char* written : {"2026-01-15T12:00:00-06:00", "2026-01-15T18:00:00Z"}) {
    CAPTURE(written);
    const Position p = position(*utc_in(written), {45, -93, 260}, {101325, -5});
    CHECK(std::abs(p.apparent_elevation_deg - 23.8) < 0.2);
    CHECK(std::abs(p.azimuth_deg - 174.5) < 0.2);
  }
}

TEST_CASE("the worked example of the NREL report, step by step") {
  const Utc at = *utc_in("2003-10-17T19:30:30Z");
  const Geocentric g = geocentric(at, 67);
  const Position p = position(at, {39.742476, -105.1786, 1830.14}, {82000, 11}, 67);
  const Day day = day_events(*utc_in("2003-10-17T07:00:00Z"), hours{24}, {39.742476, -105.1786, 1830.14});
  int compared = 0;
  for (const auto& r : reference_table("sun/data/sun_position_worked_example.csv")) {
    const std::string& q = r.text("quantity");
    CAPTURE(q);
    if (q == "sunrise" || q == "transit") {
      // The report's sunrise leaves the parallax out: the tolerance of two seconds covers it.
      const Utc event = q == "sunrise" ? *day.sunrise : day.transit;
      FW_NEAR(seconds_of(event - r.utc("published_value")), 0.0, r.number("tolerance"));
      ++compared;
      continue;
    }
    const std::map<std::string, double> ours{
        {"julian_day", static_cast<double>(ms_of(at)) / 86400000.0 + 2440587.5},
        {"earth_heliocentric_longitude", g.heliocentric_longitude_deg},
        {"earth_heliocentric_latitude", g.heliocentric_latitude_deg},
        {"earth_radius_vector", g.distance_au},
        {"geocentric_longitude", turn_deg(g.heliocentric_longitude_deg + 180)},
        {"geocentric_latitude", -g.heliocentric_latitude_deg},
        {"nutation_longitude", g.nutation_longitude_deg},
        {"nutation_obliquity", g.nutation_obliquity_deg},
        {"true_obliquity", g.true_obliquity_deg},
        {"apparent_sun_longitude", g.apparent_longitude_deg},
        {"geocentric_right_ascension", g.right_ascension_deg},
        {"geocentric_declination", g.declination_deg},
        {"observer_hour_angle", half_turn_deg(greenwich_sidereal_deg(at, g.nutation_longitude_deg *
                                                                             cos_deg(g.true_obliquity_deg)) -
                                              105.1786 - g.right_ascension_deg)},
        {"topocentric_hour_angle", p.hour_angle_deg},
        {"topocentric_declination", p.declination_deg},
        {"topocentric_zenith_refracted", p.apparent_zenith_deg()},
        {"topocentric_azimuth_from_north", p.azimuth_deg},
        {"sun_mean_longitude", g.mean_longitude_deg},
        {"equation_of_time", g.equation_of_time_min},
    };
    if (const auto it = ours.find(q); it != ours.end()) {
      FW_NEAR(it->second, r.number("published_value"), r.number("tolerance"));
      ++compared;
    } else if (q == "topocentric_right_ascension") {
      FW_NEAR(g.right_ascension_deg + (half_turn_deg(greenwich_sidereal_deg(at, g.nutation_longitude_deg *
                                                                                     cos_deg(g.true_obliquity_deg)) -
                                                     105.1786 - g.right_ascension_deg) -
                                       p.hour_angle_deg),
              r.number("published_value"), r.number("tolerance"));
      ++compared;
    } else if (q == "incidence_angle_slope30_azimuth_rotation_minus10") {
      const Direction s = direction(p.apparent_elevation_deg, p.azimuth_deg), n = direction(60, 170);
      FW_NEAR(std::acos(s.east * n.east + s.north * n.north + s.up * n.up) * deg_per_rad, r.number("published_value"),
              r.number("tolerance"));
      ++compared;
    } else {
      FAIL_CHECK("not compared: " << q);
    }
  }
  CHECK(compared == 23);
}

TEST_CASE("true and apparent elevation and azimuth at 42 times and places") {
  for (const auto& r : reference_table("sun/data/sun_position.csv")) {
    CAPTURE(r.text("label"));
    const Place place{r.number("lat_deg"), r.number("lon_deg"), r.number("altitude_m")};
    const Air air{r.number("pressure_pa"), r.number("temperature_c")};
    const Position p = position(r.utc("utc"), place, air, r.number("delta_t_s"));
    FW_NEAR(p.elevation_deg, r.number("true_elevation_deg"), 2e-5);
    FW_NEAR(p.apparent_elevation_deg, r.number("apparent_elevation_deg"), 2e-5);
    FW_NEAR(half_turn_deg(p.azimuth_deg - r.number("azimuth_deg")), 0.0, 5e-5 / cos_deg(p.elevation_deg));
    FW_NEAR(p.equation_of_time_min, r.number("equation_of_time_min"), 2e-5);
    // Our own delta T in place of the given one.
    const Position own = position(r.utc("utc"), place, air);
    FW_NEAR(own.elevation_deg, r.number("true_elevation_deg"), 0.001);
    FW_NEAR(half_turn_deg(own.azimuth_deg - r.number("azimuth_deg")), 0.0, 0.001 / cos_deg(p.elevation_deg));
  }
}

TEST_CASE("sunrise, transit and sunset of local days") {
  for (const auto& r : reference_table("sun/data/sun_events.csv")) {
    CAPTURE(r.text("site"));
    const Utc midnight = *utc_in(r.text("local_date") + "T00:00:00Z") - Span{std::llround(r.number("utc_offset_h") * 3.6e6)};
    const Day day = day_events(midnight, hours{24}, {r.number("lat_deg"), r.number("lon_deg"), 500});
    FW_NEAR(seconds_of(day.transit - r.utc("transit_utc")), 0.0, 2.0);
    CHECK(day.transit >= midnight);
    CHECK(day.transit < midnight + hours{24});
    const std::string state = r.text("state");
    CHECK((day.kind == DayKind::normal) == (state == "normal"));
    CHECK((day.kind == DayKind::sun_never_rises) == (state == "sun_never_rises"));
    CHECK((day.kind == DayKind::sun_never_sets) == (state == "sun_never_sets"));
    CHECK(day.sunrise.has_value() == !r.text("sunrise_utc").empty());
    CHECK(day.sunset.has_value() == !r.text("sunset_utc").empty());
    if (day.sunrise) FW_NEAR(seconds_of(*day.sunrise - r.utc("sunrise_utc")), 0.0, 2.0);
    if (day.sunset) FW_NEAR(seconds_of(*day.sunset - r.utc("sunset_utc")), 0.0, 2.0);
  }
}

// Frames. libnova 0.16 gives the sun's geometric place for the equinox of J2000 (complete VSOP87); its
// ready-made equatorial place mixes that with the obliquity of date and leaves aberration and precession
// out, 1.4 deg off a century away. So the steps are taken here with libnova's own parts: J2000 equator,
// aberration, precession, nutation, apparent sidereal time. It knows no parallax: ours (under 0.0025 deg)
// is taken back before comparing.
TEST_CASE("ten thousand random times and places against libnova") {
  std::mt19937 random(20260112);
  std::uniform_real_distribution<double> year(1950, 2100), longitude(-180, 180), sine(-1, 1);
  double worst = 0;
  for (int i = 0; i < 10000; ++i) {
    const Utc at = utc_ms(std::llround((year(random) - 1970) * 365.2425 * 86400000.0));
    const Place place{std::asin(sine(random)) * deg_per_rad, longitude(random), 0};
    const double jd = static_cast<double>(ms_of(at)) / 86400000.0 + 2440587.5;
    const double jde = jd + delta_t_s(at) / 86400.0;

    ln_helio_posn ecliptic;
    ln_get_solar_geom_coords(jde, &ecliptic);
    constexpr double obliquity_j2000_deg = 23.4392911;
    const double se = sin_deg(obliquity_j2000_deg), ce = cos_deg(obliquity_j2000_deg);
    ln_equ_posn j2000, moved, of_date;
    j2000.ra = turn_deg(std::atan2(sin_deg(ecliptic.L) * ce - std::tan(ecliptic.B * rad_per_deg) * se, cos_deg(ecliptic.L)) *
                        deg_per_rad);
    j2000.dec = std::asin(sin_deg(ecliptic.B) * ce + cos_deg(ecliptic.B) * se * sin_deg(ecliptic.L)) * deg_per_rad;
    ln_get_equ_aber(&j2000, jde, &moved);
    ln_get_equ_prec(&moved, jde, &of_date);
    ln_nutation nutation;
    ln_get_nutation(jde, &nutation);
    const double tan_dec = std::tan(of_date.dec * rad_per_deg), sa = sin_deg(of_date.ra), ca = cos_deg(of_date.ra);
    const double sm = sin_deg(nutation.ecliptic), cm = cos_deg(nutation.ecliptic);
    ln_equ_posn apparent{of_date.ra + (cm + sm * sa * tan_dec) * nutation.longitude - ca * tan_dec * nutation.obliquity,
                         of_date.dec + sm * ca * nutation.longitude + sa * nutation.obliquity};
    ln_lnlat_posn observer{place.longitude_deg, place.latitude_deg};
    ln_hrz_posn horizon;
    ln_get_hrz_from_equ_sidereal_time(&apparent, &observer, ln_get_apparent_sidereal_time(jd), &horizon);

    const Position p = position(at, place, {0, 10});
    const double without_parallax = p.elevation_deg + 8.794 / 3600 / p.distance_au * cos_deg(p.elevation_deg);
    worst = std::max(worst, separation_deg(without_parallax, p.azimuth_deg, horizon.alt, turn_deg(horizon.az + 180)));
    REQUIRE(std::isfinite(p.elevation_deg));
  }
  CAPTURE(worst);
  CHECK(worst < 0.001);  // asked for: 0.01
}

TEST_CASE("the fast ephemeris gives the full algorithm's sun within a millionth of a degree over 200 years") {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> year(1900, 2100), longitude(-180, 180), latitude(-90, 90);
  Ephemeris ephemeris;
  for (int i = 0; i < 4000; ++i) {
    const Utc at = utc_ms(std::llround((year(random) - 1970) * 365.2425 * 86400000.0));
    const Place place{latitude(random), longitude(random), 1000};
    const Position a = position(at, place, {90000, -5}), b = ephemeris.position(at, place, {90000, -5});
    FW_NEAR(separation_deg(a.elevation_deg, a.azimuth_deg, b.elevation_deg, b.azimuth_deg), 0.0, 1e-6);
    FW_NEAR(a.apparent_elevation_deg, b.apparent_elevation_deg, 1e-5);
    FW_NEAR(a.distance_au, b.distance_au, 1e-8);
    FW_NEAR(a.equation_of_time_min, b.equation_of_time_min, 1e-5);
  }
  // Day after day, as the cache is used, and back again.
  const Utc start = *utc_in("2026-02-26T00:00:00Z");
  for (int hour : {0, 1, 23, 24, 25, 47, 49, 24 * 400, 24 * 399, 3, -30}) {
    const Utc at = start + hours{hour};
    FW_NEAR(position(at, {46, 7, 0}, {}).elevation_deg, ephemeris.position(at, {46, 7, 0}, {}).elevation_deg, 1e-6);
  }
}

TEST_CASE("poles, equator, horizon, all years: finite and in range") {
  for (const char* when : {"-", "1000-06-21T12:00:00Z", "2026-01-15T18:00:00Z", "5999-12-31T23:59:59Z"}) {
    const Utc at = when[0] == '-' ? utc_ms(-125000000000000LL) : *utc_in(when);  // about the year -1991
    for (double latitude : {-90.0, -66.5, 0.0, 23.44, 90.0})
      for (double longitude : {-180.0, 0.0, 179.999})
        for (double altitude : {-400.0, 0.0, 5000.0})
          for (double temperature : {-40.0, 50.0}) {
            const Position p = position(at, {latitude, longitude, altitude}, {pressure_pa(altitude), temperature});
            CHECK(std::isfinite(p.elevation_deg));
            CHECK(std::isfinite(p.apparent_elevation_deg));
            CHECK(std::abs(p.apparent_elevation_deg) <= 91);
            CHECK(p.azimuth_deg >= 0);
            CHECK(p.azimuth_deg < 360);
            CHECK(std::abs(p.equation_of_time_min) < 21);
            if (std::abs(latitude) == 90) FW_NEAR(std::abs(p.elevation_deg), std::abs(p.declination_deg), 1e-6);
          }
  }
}

TEST_CASE("the days around the start and the end of polar night and day make sense") {
  for (double latitude : {66.0, 67.5, 69.6, 78.2, 89.9, 90.0, -70.0, -90.0}) {
    CAPTURE(latitude);
    for (int i = 0; i < 366; ++i) {
      const Utc midnight = *utc_in("2026-01-01T00:00:00Z") + days{i};
      const Day d = day_events(midnight, hours{24}, {latitude, 15, 0});
      const bool up = d.transit_elevation_deg >= -0.8333;
      CHECK((d.kind == DayKind::sun_never_rises) == !up);
      if (d.kind == DayKind::sun_never_sets) CHECK_FALSE(d.sunrise);
      if (d.sunrise) {
        CHECK(*d.sunrise < d.transit);
        FW_NEAR(position(*d.sunrise, {latitude, 15, 0}, {0, 10}).elevation_deg, -0.8333, 1e-5);
      }
      if (d.sunset) CHECK(*d.sunset > d.transit);
    }
  }
}

TEST_CASE("delta T is smooth where its pieces meet and true to what was observed") {
  for (double y : {-500.0, 500.0, 1600.0, 1700.0, 1800.0, 1860.0, 1900.0, 1920.0, 1941.0, 1961.0, 1986.0, 2005.0, 2026.0,
                   2150.0}) {
    CAPTURE(y);
    FW_NEAR(delta_t_s(y - 1e-6), delta_t_s(y + 1e-6), y < 500 ? 3.0 : 1.0);
  }
  FW_NEAR(delta_t_s(2000.0), 63.83, 0.1);   // IERS, from memory
  FW_NEAR(delta_t_s(1900.0), -2.8, 0.5);    // Espenak & Meeus 2006
  FW_NEAR(delta_t_s(1000.0), 1574.0, 1.0);  // Espenak & Meeus 2006
  FW_NEAR(delta_t_s(2024.0), 69.2, 0.1);    // IERS, from memory
}

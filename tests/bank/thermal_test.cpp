#include "bank/thermal.h"

#include <doctest/doctest.h>

#include <cmath>

using namespace fw;
using namespace fw::bank;

namespace {

constexpr double pi = 3.14159265358979323846;

/// A bank that really is first order, with an air that swings over the day and a tenth of a degree of resolution.
struct Truth {
  double a_air, a_cabin, per_w;
  double t = 8;
  double air(double h) const { return -4 + 6 * std::cos(2 * pi * (h - 15) / 24); }
  double cabin(double h) const { return 12 + 5 * std::cos(2 * pi * (h - 17) / 24); }
};

ThermalModel taught(Truth& w, double hours_long, double heater_w = 0) {
  ThermalModel m(2560);
  for (int minute = 0; minute < hours_long * 60; ++minute) {
    const double h = minute / 60.0;
    const double on = heater_w > 0 && std::fmod(h, 6) < 2 ? heater_w : 0;
    m.learn(elapsed_ms(1'768'000'000'000LL + minute * 60'000LL), std::round(w.t * 10) / 10, {w.air(h), w.cabin(h), on, 0});
    w.t += (w.a_air * (w.air(h) - w.t) + w.a_cabin * (w.cabin(h) - w.t) + w.per_w * on) / 60;
  }
  return m;
}

}  // namespace

TEST_CASE("the time constant and the cabin's share are learned within days") {
  struct Row { double tau_h, share; };
  for (const Row& r : {Row{6, 0.0}, {6, 0.6}, {15, 0.3}, {30, 0.0}, {30, 0.5}}) {
    CAPTURE(r.tau_h);
    CAPTURE(r.share);
    Truth w{(1 - r.share) / r.tau_h, r.share / r.tau_h, 0};
    const auto m = taught(w, 5 * 24);
    CHECK(std::abs(m.time_constant_h() / r.tau_h - 1) < 0.3);
    CHECK(std::abs(m.cabin_share() - r.share) < 0.2);
  }
}

TEST_CASE("a heater's degrees per watt are learned") {
  Truth w{0.08, 0.0, 0.06};
  const auto m = taught(w, 4 * 24, 60);
  CHECK(std::abs(m.heat_per_w() / 0.06 - 1) < 0.25);
  CHECK(std::abs(m.k_per_w() / (0.06 / 0.08) - 1) < 0.3);
}

TEST_CASE("the crossing comes out where the first order law puts it") {
  Truth w{0.1, 0, 0};
  const auto m = taught(w, 6 * 24);
  const auto course = course_of(m, 6, [](Span, double) { return Surroundings{-8.0, 14.0, 0, 0}; }, hours{18});
  const auto x = crossing_of(course, 0);
  REQUIRE(x.at);
  CHECK(std::abs(hours_of(*x.at) - 10 * std::log(14.0 / 8.0)) < 0.6);
  CHECK(x.probability > 0.9);
  CHECK(*x.early <= *x.at);
}

TEST_CASE("heat to hold a level is what leaks away there") {
  Truth w{0.08, 0.0, 0.06};
  const auto m = taught(w, 5 * 24, 60);
  const auto need = heat_to_hold(m, 1.0, [](Span, double) { return Surroundings{-11.0, std::nullopt, 0, 0}; }, hours{0}, hours{10});
  CHECK(std::abs(need.watts / (0.08 * 12 / 0.06) - 1) < 0.25);
  CHECK(std::abs(need.kwh * 1000 / (need.watts * 10) - 1) < 0.05);
}

TEST_CASE("a thermostat nobody reports is found by its turns, and trusted only as far as it was seen to hold") {
  ThermalModel m(2560);
  double t = 8;
  bool heat = false;
  for (int minute = 0; minute < 60 * 30; ++minute) {
    if (t < 4) heat = true;
    if (t > 5.6) heat = false;
    m.learn(elapsed_ms(minute * 60'000LL), std::round(t * 10) / 10, {-10.0, std::nullopt, 0, 0});
    t += (0.12 * (-10 - t) + (heat ? 4.0 : 0)) / 60;
  }
  const auto hold = m.hold();
  REQUIRE(hold);
  CHECK(std::abs(hold->turn_c - 4) < 0.4);
  const auto same = crossing_of(course_of(m, 5, [](Span, double) { return Surroundings{-10.0, std::nullopt, 0, 0}; }, hours{12}), 4, true);
  CHECK_FALSE(same.at);
  CHECK(same.probability < 0.3);
  // It broke: the cells fell right through.
  for (int minute = 0; minute < 90; ++minute) {
    m.learn(elapsed_ms((60 * 30 + minute) * 60'000LL), t, {-10.0, std::nullopt, 0, 0});
    t += 0.12 * (-10 - t) / 60;
  }
  CHECK_FALSE(m.hold());
}

TEST_CASE("one steep turn in the cold is a heater already, a gentle one is not") {
  for (const double heater_k_per_h : {5.0, 1.6}) {
    ThermalModel m(2560);
    double t = 7;
    bool heat = false;
    for (int minute = 0; minute < 150; ++minute) {
      if (t < 4) heat = true;
      m.learn(elapsed_ms(minute * 60'000LL), std::round(t * 10) / 10, {-10.0, std::nullopt, 0, 0});
      t += (0.12 * (-10 - t) + (heat ? heater_k_per_h : 0)) / 60;
    }
    CHECK(m.hold().has_value() == (heater_k_per_h > 2.5));
  }
}

TEST_CASE("what is not learned yet makes the course ahead uncertain, days of learning make it sure") {
  Truth w{0.1, 0, 0};
  const auto ahead = [](Span, double) { return Surroundings{-12.0, 6.0, 0, 0}; };
  Truth first = w;
  const auto young = course_of(taught(first, 1), 8, ahead, hours{8}, 0);
  const auto old = course_of(taught(w, 5 * 24), 8, ahead, hours{8}, 0);
  CHECK(young.back().sigma_k > 1.5);
  CHECK(old.back().sigma_k < 0.8);
}

TEST_CASE("a restart keeps what was learned beside a hidden heater") {
  ThermalModel m(2560);
  double t = 8;
  bool heat = false;
  const auto live = [&](ThermalModel& model, int from, int to) {
    for (int minute = from; minute < to; ++minute) {
      if (t < 4) heat = true;
      if (t > 5.6) heat = false;
      model.learn(elapsed_ms(minute * 60'000LL), std::round(t * 10) / 10, {-10.0, std::nullopt, 0, 0});
      t += (0.12 * (-10 - t) + (heat ? 4.0 : 0)) / 60;
    }
  };
  live(m, 0, 48 * 60);
  ThermalModel after(2560);
  after.recall(m.memory());
  live(after, 48 * 60, 50 * 60);
  CHECK(after.hours_learned() >= m.hours_learned());
  CHECK(std::abs(after.time_constant_h() / m.time_constant_h() - 1) < 0.3);
}

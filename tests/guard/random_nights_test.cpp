// FW_LONG=1: 2,000 nights; otherwise a tenth.
#include <doctest/doctest.h>

#include <cstdlib>

#include "random_night.h"

using namespace fw;
using namespace fw::guard;
using namespace fw::guard::test;

namespace {

int nights() { return std::getenv("FW_LONG") ? 2000 : 200; }

struct HalfADegreeWarm : Decisions {
  double coldest(const std::vector<double>& c) const override { return Decisions::coldest(c) + 0.5; }
};
struct NeverStale : Decisions {
  bool carries(Span, std::optional<Span>, Span, Span) const override { return true; }
};
struct WarmestRules : Decisions {
  double coldest(const std::vector<double>& c) const override { return *std::max_element(c.begin(), c.end()); }
};
struct NextBandUp : Decisions {
  double bank_limit_a(double low, double high, const rig::Bank& b) const override { return Decisions::bank_limit_a(low + 2, high + 2, b); }
};
struct NoPatience : Decisions {
  bool may_resume(double low, double high, const rig::ChargeWindow& w) const override { return low > w.lower_limit_c && high < w.upper_limit_c; }
  bool dwell_over(Span, const rig::ChargeWindow&) const override { return true; }
  bool may_change_again(int) const override { return true; }
};

/// How many nights until a promise is broken; 0: never.
int caught_after(const Decisions& d) {
  for (int i = 0; i < nights(); ++i)
    if (broken_promise(make_night(static_cast<unsigned>(i)), d)) return i + 1;
  return 0;
}

}  // namespace

TEST_CASE("over random long nights the guard keeps its promises, whatever fails") {
  long readings = 0;
  int failures = 0;
  for (int i = 0; i < nights(); ++i) {
    const auto night = make_night(static_cast<unsigned>(i));
    readings += static_cast<long>(night.feed.size());
    const auto broken = broken_promise(night, Guard::standard_decisions());
    if (!broken) continue;
    const auto small = shrunk(night, Guard::standard_decisions());
    MESSAGE(*broken_promise(small, Guard::standard_decisions()) << "\n" << readable(small));
    FAIL_CHECK("night " << i << ": " << *broken);
    if (++failures == 3) break;
  }
  std::printf("%d nights, %ld feed lines\n", nights(), readings);
}

TEST_CASE("the nights are not empty: permits are given and taken in most") {
  int with_permit = 0, with_both = 0;
  for (int i = 0; i < 40; ++i) {
    const auto n = make_night(static_cast<unsigned>(i));
    auto r = plain_rig(n.sensors);
    Drive d(r);
    bool yes = false, no_after = false;
    for (const auto& l : n.feed) {
      if (l.what != Line::cell) continue;
      d.pass(elapsed_ms(start_ms + l.ms) - d.at);
      d.cell(l.value, l.sensor);
      yes = yes || d.guard.may_charge(0);
      no_after = no_after || (yes && !d.guard.may_charge(0));
    }
    with_permit += yes;
    with_both += no_after;
  }
  CHECK(with_permit >= 25);
  CHECK(with_both >= 12);
}

TEST_CASE("five guards broken on purpose are each caught") {
  struct Row { const char* name; const Decisions& d; };
  const HalfADegreeWarm half;
  const NeverStale stale;
  const WarmestRules warmest;
  const NextBandUp band;
  const NoPatience patience;
  for (const Row& row : {Row{"half a degree too warm", half}, {"never stale", stale}, {"warmest sensor rules", warmest},
                         {"band above", band}, {"no patience", patience}}) {
    CAPTURE(std::string(row.name));
    const int after = caught_after(row.d);
    CHECK(after > 0);
    std::printf("%-24s caught in night %d\n", row.name, after);
  }
}

TEST_CASE("a failure shrinks to a feed one can read") {
  const WarmestRules warmest;
  for (unsigned i = 0; i < 200; ++i) {
    const auto n = make_night(i);
    if (!broken_promise(n, warmest)) continue;
    const auto small = shrunk(n, warmest);
    CHECK(broken_promise(small, warmest));
    CHECK(small.feed.size() <= 12);
    return;
  }
  FAIL("no night broke it");
}

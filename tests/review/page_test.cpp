// The page in a headless Chromium: no network, no console errors, charts at three widths.
#include <doctest/doctest.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "journal/folder.h"
#include "journal/helpers.h"
#include "review/account.h"

using namespace fw;
using namespace fw::testing;

namespace {

std::string winter_page(const Folder& f, int days_run, std::string hostile = {}) {
  const std::string path = f / "demo.journal";
  journal::Options o;
  o.bulk = true;
  o.batch = hours{6};
  Winter winter(*utc_in("2025-10-15T00:00:00Z"));
  auto j = opened(path, o, winter.turn());
  REQUIRE(j);
  REQUIRE(j->write({SnapshotRow{stamp(start), "rig", journal::about_json(winter_about())}}, winter.turn()));
  for (int m = 0; m < days_run * 1440; ++m) {
    auto rows = winter.minute();
    if (m == 1000 && !hostile.empty()) rows.push_back(NoteRow{stamp(winter.now()), "text", "fore", hostile});
    REQUIRE(j->write(std::move(rows), winter.turn()));
    if (m % 60 == 0) j->maintain(winter.turn());
  }
  REQUIRE(j->flush(winter.turn()));
  auto reader = journal::Reader::open(path);
  REQUIRE(reader);
  auto a = review::account(*reader, {});
  REQUIRE(a);
  return review::html(*a);
}

std::string browser() {
  for (const char* p : {"/usr/bin/chromium", "/usr/bin/chromium-browser"})
    if (std::filesystem::exists(p)) return p;
  return {};
}

struct Ran {
  std::string out;
  int code = 0;
};
Ran run(const std::string& command) {
  Ran r;
  FILE* p = ::popen(command.c_str(), "r");
  REQUIRE(p);
  char buffer[65536];
  while (const auto n = std::fread(buffer, 1, sizeof buffer, p)) r.out.append(buffer, n);
  r.code = ::pclose(p);
  return r;
}

/// As a script's string; no tag can end the script.
std::string quoted(const std::string& text) {
  std::string q = nlohmann::json(text).dump();
  for (std::size_t i = 0; (i = q.find('<', i)) != std::string::npos; i += 6) q.replace(i, 1, "\\u003c");
  return q;
}

// Puts the page into frames of three widths, works its buttons, and writes what it saw into the document.
constexpr const char* harness = R"html(<!DOCTYPE html><meta charset="utf-8"><body><script>
const early = `<script>window.wrong = []; addEventListener("error", e => wrong.push(e.message));
addEventListener("securitypolicyviolation", e => wrong.push("fetch of " + e.blockedURI));<\/script>`;
const result = [];
const look = frame => {
  const w = frame.contentWindow, d = w.document, root = d.documentElement;
  const painted = [...d.querySelectorAll(".chart")].filter(c => [...c.querySelectorAll("canvas")].some(v =>
    v.width > 0 && new Uint32Array(v.getContext("2d").getImageData(0, 0, v.width, v.height).data.buffer).some(p => p !== 0))).length;
  const wide = d.getElementById("string-0-readout").textContent;
  const whole = d.getElementById("range").textContent, happenings = d.querySelectorAll("#lane [tabindex]").length;
  d.querySelector("[data-span=week]").click();
  const week = d.getElementById("range").textContent, close = d.getElementById("string-0-readout").textContent;
  d.querySelector("[data-go='-0.5']").click();
  const earlier = d.getElementById("range").textContent;
  // Fingers: up and down is the page's, sideways moves the time line, two are the chart's.
  const canvas = [...d.querySelectorAll("#string-0 canvas")].pop(), at = canvas.getBoundingClientRect();
  const finger = (type, ...places) => {
    const touches = places.map(([x, y], identifier) => new w.Touch({ identifier, target: canvas, clientX: at.left + x, clientY: at.top + y, pageX: at.left + x, pageY: at.top + y }));
    const e = new w.TouchEvent(type, { touches, targetTouches: touches, changedTouches: touches, bubbles: true, cancelable: true });
    canvas.dispatchEvent(e);
    return e.defaultPrevented;
  };
  const held = finger("touchstart", [200, 50]);
  finger("touchmove", [203, 120]);
  frame.scrolled = d.getElementById("range").textContent;
  finger("touchmove", [120, 52]);
  const pinched = finger("touchstart", [100, 50], [200, 50]);
  frame.swiped = () => d.getElementById("range").textContent;
  return { held, pinched, scroll: w.getComputedStyle(canvas).touchAction, width: frame.clientWidth, charts: Number(root.dataset.charts), painted, overflow: root.scrollWidth - root.clientWidth,
           happenings, whole, week, earlier, wide, close, wrong: w.wrong,
           resources: w.performance.getEntriesByType("resource").map(r => r.name) };
};
let open = 3;
for (const width of [360, 800, 1400]) {
  const frame = document.createElement("iframe");
  frame.style = "border:0;height:900px;width:" + width + "px";
  frame.addEventListener("load", () => setTimeout(() => {
    let saw;
    try { saw = look(frame); } catch (e) { saw = { width, thrown: String(e) }; }
    result.push(saw);
    setTimeout(() => {
      if (frame.swiped) saw.swiped = frame.swiped() !== frame.scrolled;
      if (--open === 0) { document.body.innerHTML = ""; const p = document.createElement("pre"); p.textContent = "RESULT" + JSON.stringify(result) + "END"; document.body.append(p); }
    }, 300);
  }, 300));
  frame.srcdoc = page.replace("<head>", () => "<head>" + early);
  document.body.append(frame);
}
</script>)html";

std::string unescaped(std::string s) {
  for (const auto& [from, to] : {std::pair<std::string, std::string>{"&lt;", "<"}, {"&gt;", ">"}, {"&quot;", "\""}, {"&amp;", "&"}})
    for (std::size_t i = 0; (i = s.find(from, i)) != std::string::npos; i += to.size()) s.replace(i, from.size(), to);
  return s;
}

}  // namespace

TEST_CASE("the page is one file that asks for nothing else, and stays small") {
  Folder f;
  const int days_run = long_run() ? 180 : 45;
  const std::string page = winter_page(f, days_run, "</script><script>alert(1)</script> & <b>\xff");
  CHECK(page.size() < (long_run() ? 3'000'000 : 1'000'000));
  for (const char* fetch : {"<script src", "<img", "<iframe", "<object", "rel=\"stylesheet\"", "http-equiv=\"refresh\""}) {
    CAPTURE(fetch);
    CHECK(page.find(fetch) == std::string::npos);
  }
  CHECK(page.find("href=\"data:,\"") != std::string::npos);
  CHECK(page.find("@import") == std::string::npos);
  CHECK(page.find("url(") == std::string::npos);
  CHECK(page.find("sourceMappingURL") == std::string::npos);
  CHECK(page.find("default-src 'none'") != std::string::npos);
  CHECK(page.find("<script>alert(1)") == std::string::npos);
  MESSAGE("page of ", days_run, " days: ", page.size(), " bytes");
}

TEST_CASE("in a browser the charts are there at 360, 800 and 1400 px, without errors or network") {
  const std::string chromium = browser();
  if (chromium.empty()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  Folder f;
  const std::string page = winter_page(f, 30);
  std::string html = harness;
  html.insert(html.find("const early"), "const page = " + quoted(page) + ";\n");
  std::ofstream(f / "harness.html", std::ios::binary) << html;
  const Ran r = run("timeout 150 " + chromium +
                    " --headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
                    "--disable-component-update --disable-sync --host-resolver-rules='MAP * ~NOTFOUND' --window-size=1500,1000 "
                    "--virtual-time-budget=20000 --enable-logging=stderr --user-data-dir=" +
                    (f / "profile") + " --dump-dom file://" + (f / "harness.html") + " 2>" + (f / "log"));
  std::ifstream log_file(f / "log");
  const std::string log((std::istreambuf_iterator<char>(log_file)), {});
  CHECK(log.find("CONSOLE") == std::string::npos);
  const auto from = r.out.rfind("RESULT["), to = r.out.rfind("]END");
  REQUIRE(from != std::string::npos);
  REQUIRE(to != std::string::npos);
  const auto result = nlohmann::json::parse(unescaped(r.out.substr(from + 6, to - from - 5)), nullptr, false);
  REQUIRE(result.is_array());
  REQUIRE(result.size() == 3);
  for (const auto& w : result) {
    CAPTURE(w.dump());
    CHECK(w["charts"] == 5);
    CHECK(w["painted"] == 5);
    CHECK(w["overflow"] == 0);
    CHECK(w["happenings"] > 5);
    CHECK(w["wrong"].empty());
    CHECK(w["resources"].empty());
    CHECK(w["whole"] == "15 Oct 2025 to 14 Nov 2025");
    CHECK(w["week"] != w["whole"]);
    // Thirty days on a phone are a column each; a week is curves everywhere.
    CHECK(w["wide"].get<std::string>().starts_with("one column a day") == (w["width"] < 1000));
    CHECK(w["close"].get<std::string>().starts_with("W made"));
    CHECK(w["earlier"] != w["week"]);
    CHECK(w["held"] == false);
    CHECK(w["pinched"] == true);
    CHECK(w["swiped"] == true);
    CHECK(w["scroll"] == "pan-y");
  }
}

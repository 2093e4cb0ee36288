// The service unit, as far as it can be judged without a running service manager.
#include <unistd.h>

#include "integration/rig_under_test.h"
#include "units/text.h"

using namespace fw;
using namespace fw::test;

namespace {
const std::string unit = std::string(FW_SOURCE_DIR) + "/systemd/firnwatt@.service";
bool analysable() { return run({"systemd-analyze", "--version"}).code == 0; }
}  // namespace

TEST_CASE("the unit is well formed") {
  if (!analysable()) {
    MESSAGE("skipped: systemd-analyze is not installed");
    return;
  }
  const TempDir dir;
  std::string text = read_file(unit);
  // Checked beside the program as built; the installed path and the manual pages come with the package.
  text.replace(text.find("/usr/bin/firnwatt"), 17, FW_PROGRAM);
  const auto pages = text.find("Documentation=");
  text.erase(pages, text.find('\n', pages) - pages + 1);
  const Finished done = run({"systemd-analyze", "verify", dir.write("firnwatt@demo.service", text)});
  CAPTURE(done.err);
  CHECK(done.code == 0);
  CHECK(done.err.find("firnwatt@") == std::string::npos);
}

TEST_CASE("the unit's exposure is at most 1.5") {
  if (!analysable()) {
    MESSAGE("skipped: systemd-analyze is not installed");
    return;
  }
  const Finished done = run({"systemd-analyze", "security", "--offline=true", "--no-pager", unit});
  const std::string head = "exposure level for ";
  const auto at = done.out.find(head);
  REQUIRE(at != std::string::npos);
  const auto colon = done.out.find(": ", at);
  const auto level = number_in(done.out.substr(colon + 2, done.out.find(' ', colon + 2) - colon - 2));
  REQUIRE(level.has_value());
  CHECK(*level <= 1.5);
}

TEST_CASE("the unit never gives up, except on an unusable config") {
  const std::string text = read_file(unit);
  for (const char* line : {"Type=notify\n", "Restart=always\n", "StartLimitIntervalSec=0\n", "RestartPreventExitStatus=2\n"}) {
    CAPTURE(line);
    CHECK(text.find(line) != std::string::npos);
  }
}

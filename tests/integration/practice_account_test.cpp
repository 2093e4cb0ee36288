// The energy account of labelled feeds, read back from the program and held against sums made by another program.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "support/process.h"

using namespace fw::test;

TEST_CASE("the account of a practice feed balances with the feed's own readings and with its truth") {
  const char* dir = std::getenv("FW_PRACTICE_DIR");
  if (!dir) {
    std::puts("SKIPPED: no practice feeds (FW_PRACTICE_DIR)");
    return;
  }
  std::vector<std::string> command{"python3", FW_TESTS_DIR "/score/account.py", FW_PROGRAM};
  for (const auto& e : std::filesystem::directory_iterator(dir))
    if (e.path().filename().string().starts_with("practice-")) command.push_back(e.path().string());
  std::sort(command.begin() + 3, command.end());
  const auto done = run(command, {}, std::chrono::minutes{9});
  INFO(done.out << done.err);
  CHECK(done.code == 0);
  WARN_MESSAGE(done.out.find("losses off over a feed: 0 of") != std::string::npos, done.out);
}

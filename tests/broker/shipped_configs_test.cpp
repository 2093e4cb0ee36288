// Runs shipped_configs_test.sh and reports each of its checks.
#include <doctest/doctest.h>
#include <sys/wait.h>

#include <cstdio>
#include <cstdlib>
#include <string>

TEST_CASE("the shipped broker, bridge and access files do on real brokers what they promise") {
  const std::string script = FW_TESTS_DIR "/broker/shipped_configs_test.sh";
  const std::string command = "bash '" + script + "' '" FW_SOURCE_DIR "/config/broker' 2>&1";
  FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe);
  std::string said;
  char buffer[4096];
  while (std::fgets(buffer, sizeof buffer, pipe)) said += buffer;
  const int status = pclose(pipe);
  if (WIFEXITED(status) && WEXITSTATUS(status) == 77) {
    std::printf("SKIPPED %s", said.c_str());
    return;
  }
  INFO(said);
  CHECK(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 0);
  CHECK(said.find("FAILED") == std::string::npos);
  CHECK(said.find("ok: a firnwatt that is dead while its broker lives is told too") != std::string::npos);
}

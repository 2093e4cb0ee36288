#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <set>

#include "config/load.h"

using namespace fw;

namespace {

std::string read(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace

TEST_CASE("each broken config gives exactly the words kept beside it") {
  int files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(FW_TESTS_DIR "/config/broken")) {
    if (entry.path().extension() != ".yaml") continue;
    ++files;
    const std::string name = entry.path().filename().string();
    CAPTURE(name);
    const auto loaded = config::load_text(read(entry.path()), name);
    CHECK_FALSE(loaded.rig);
    std::string text;
    for (const Fault& f : loaded.faults) text += f.text() + "\n";
    std::filesystem::path expected = entry.path();
    CHECK(text == read(expected.replace_extension(".expected")));
  }
  CHECK(files >= 50);
}

TEST_CASE("a file that is not there, or a folder, is one plain sentence") {
  CHECK(config::load_file("/no/such/rig.yaml").faults[0].text() == "/no/such/rig.yaml: cannot be opened: No such file or directory");
  CHECK(config::load_file("/tmp").faults[0].text() == "/tmp: cannot be read: Is a directory");
  CHECK(config::load_text(std::string((1u << 20) + 1, '#'), "big").faults[0].text() == "big: is larger than 1 MiB; this is no rig's config");
}

TEST_CASE("every cut and every broken byte of the example ends in faults or a rig, never in a crash") {
  const std::string whole = read(FW_SOURCE_DIR "/config/example.yaml");
  REQUIRE(whole.size() > 1000);
  for (std::size_t n = 0; n < whole.size(); n += 97) {
    const auto l = config::load_text(whole.substr(0, n), "cut");
    CHECK(l.rig.has_value() == l.faults.empty());
  }
  std::uint64_t state = 88172645463325252ull;
  for (int i = 0; i < 150; ++i) {
    std::string text = whole;
    for (int k = 0; k < 3; ++k) {
      state ^= state << 13, state ^= state >> 7, state ^= state << 17;
      text[state % text.size()] = static_cast<char>("{}[]:-\"'#&*!|>%\n\t 0aZ\xFF"[(state >> 40) % 23]);
    }
    const auto l = config::load_text(text, "mutated");
    CHECK(l.rig.has_value() == l.faults.empty());
  }
}

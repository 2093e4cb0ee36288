// Runs a fuzz target over its saved inputs, and over a fixed number of small changes to each.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace {

void run(const std::string& bytes) { LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()); }

std::uint32_t next(std::uint32_t& s) {
  s = s * 1664525u + 1013904223u;  // Numerical Recipes' generator
  return s >> 8;
}

}  // namespace

TEST_CASE("saved inputs and small changes to them do no harm") {
  std::vector<std::string> inputs;
  std::vector<std::filesystem::path> files;
  for (const auto& e : std::filesystem::directory_iterator(FW_CORPUS)) files.push_back(e.path());
  std::sort(files.begin(), files.end());
  for (const auto& f : files) {
    std::ifstream in(f, std::ios::binary);
    inputs.emplace_back(std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>());
  }
  REQUIRE(!inputs.empty());
  std::uint32_t seed = 1;
  for (const auto& input : inputs) {
    run(input);
    for (int i = 0; i < FW_CHANGES; ++i) {
      std::string s = input;
      for (std::uint32_t n = 1 + next(seed) % 4; n > 0 && !s.empty(); --n) {
        const auto at = next(seed) % s.size();
        switch (next(seed) % 5) {
          case 0: s[at] = static_cast<char>(next(seed)); break;
          case 1: s.erase(at, 1 + next(seed) % 8); break;
          case 2: s.insert(at, 1, static_cast<char>(next(seed))); break;
          case 3: s.resize(at); break;
          default: s.insert(at, inputs[next(seed) % inputs.size()].substr(0, 64)); break;
        }
      }
      run(s);
    }
  }
}

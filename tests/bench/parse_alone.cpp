// What replay is held against: every line of the feed parsed by the JSON library alone, nothing done with it.
//   bench_parse_alone FEED
#include <cstdio>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

int main(int argc, char** argv) {
  if (argc != 2) return std::fprintf(stderr, "usage: bench_parse_alone FEED\n"), 2;
  std::ifstream in(argv[1], std::ios::binary);
  if (!in) return std::fprintf(stderr, "%s cannot be read\n", argv[1]), 2;
  std::string line;
  std::size_t lines = 0, fields = 0;
  while (std::getline(in, line)) {
    const auto j = nlohmann::json::parse(line, nullptr, false);
    ++lines;
    fields += j.size();  // keeps the compiler honest
  }
  std::printf("%zu lines, %zu fields\n", lines, fields);
  return 0;
}

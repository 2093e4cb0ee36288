#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace fs = std::filesystem;

namespace {

std::vector<std::string> lines_of(const fs::path& p) {
  std::ifstream in(p);
  std::vector<std::string> lines;
  for (std::string l; std::getline(in, l);) lines.push_back(l);
  return lines;
}

const fs::path source = FW_SOURCE_DIR;

std::map<std::string, std::set<std::string>> table() {
  std::map<std::string, std::set<std::string>> rooms;
  bool inside = false;
  for (const auto& line : lines_of(source / "DEVELOPERS.md")) {
    if (line == "<!-- rooms -->") inside = true;
    if (line == "<!-- /rooms -->") inside = false;
    if (!inside || !line.starts_with("| ") || line.starts_with("| room")) continue;
    std::vector<std::string> cells;
    std::stringstream s(line.substr(1));
    for (std::string c; std::getline(s, c, '|');) cells.push_back(c);
    REQUIRE(cells.size() == 3);
    std::stringstream name(cells[0]), may(cells[2]);
    std::string room;
    name >> room;
    for (std::string m; may >> m;) rooms[room].insert(m);
    rooms[room];
  }
  return rooms;
}

std::vector<fs::path> sources_of(const fs::path& folder) {
  std::vector<fs::path> files;
  for (const auto& e : fs::recursive_directory_iterator(folder))
    if (e.path().extension() == ".h" || e.path().extension() == ".cpp") files.push_back(e.path());
  std::sort(files.begin(), files.end());
  return files;
}

}  // namespace

TEST_CASE("rooms include only what the table in DEVELOPERS.md allows") {
  const auto rooms = table();
  REQUIRE(rooms.size() > 15);
  for (const auto& e : fs::directory_iterator(source / "lib")) {
    const std::string room = e.path().filename().string();
    CAPTURE(room);
    REQUIRE(rooms.contains(room));
    for (const auto& file : sources_of(e.path()))
      for (const auto& line : lines_of(file)) {
        if (!line.starts_with("#include \"")) continue;
        const auto slash = line.find('/');
        if (slash == std::string::npos) continue;
        const std::string to = line.substr(10, slash - 10);
        CAPTURE(file.string());
        CAPTURE(line);
        CHECK((to == room || rooms.at(room).contains(to)));
      }
  }
}

TEST_CASE("the table has no circle") {
  const auto rooms = table();
  std::set<std::string> settled;
  for (bool progress = true; progress;) {
    progress = false;
    for (const auto& [room, needs] : rooms) {
      if (settled.contains(room)) continue;
      bool ready = true;
      for (const auto& n : needs) {
        CAPTURE(n);
        REQUIRE(rooms.contains(n));
        ready = ready && settled.contains(n);
      }
      if (ready) progress = settled.insert(room).second;
    }
  }
  CHECK(settled.size() == rooms.size());
}

TEST_CASE("no room of lib reads a clock") {
  for (const auto& file : sources_of(source / "lib")) {
    const auto folder = file.parent_path().filename();
    for (const auto& line : lines_of(file))
      for (const char* word : {"system_clock::now", "steady_clock::now", "time(nullptr)", "time(NULL)", "gettimeofday", "clock_gettime"}) {
        // The MQTT room stamps arrivals and paces its retries; it decides nothing.
        if (folder == "mqtt" && std::string(word) != "system_clock::now") continue;
        CAPTURE(file.string());
        CAPTURE(line);
        CHECK(line.find(word) == std::string::npos);
      }
  }
}

TEST_CASE("every test that lib/guard/FAILURES.md names exists, and every failure names one or says that nothing notices") {
  std::string names;
  for (const auto& file : sources_of(source / "tests"))
    for (const auto& line : lines_of(file))
      if (line.starts_with("TEST_CASE(")) names += line + "\n";
  int rows = 0;
  for (const auto& line : lines_of(source / "lib/guard/FAILURES.md")) {
    if (!line.starts_with("| ") || line.starts_with("| What fails")) continue;
    ++rows;
    CAPTURE(line);
    std::string shown = line.substr(0, line.rfind('|'));
    shown = shown.substr(shown.rfind('|') + 1);
    if (shown == " - ") {
      CHECK(line.find("not noticed") != std::string::npos);
      continue;
    }
    int named = 0;
    for (std::size_t from = 0; (from = shown.find('"', from)) != std::string::npos; ++named) {
      const auto to = shown.find('"', from + 1);
      REQUIRE(to != std::string::npos);
      const std::string part = shown.substr(from + 1, to - from - 1);
      CAPTURE(part);
      CHECK(part.size() > 10);
      CHECK(names.find(part) != std::string::npos);
      from = to + 1;
    }
    CHECK(named > 0);
  }
  CHECK(rows > 30);
}

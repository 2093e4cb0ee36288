#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>

#include "feed/reader.h"
#include "feed/writer.h"

using namespace fw;

namespace {

struct Folder {
  std::filesystem::path path = std::filesystem::temp_directory_path() / ("fw-feed-" + std::to_string(reinterpret_cast<std::uintptr_t>(this)));
  Folder() { std::filesystem::create_directories(path); }
  ~Folder() { std::filesystem::remove_all(path); }
  std::string operator/(const char* name) const { return (path / name).string(); }
};

std::string read_bytes(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

Message message(int i) { return {elapsed_ms(1768230245000 + i * 1000), "roof/" + std::to_string(i % 3), "{\"w\":" + std::to_string(i) + "}", false}; }

}  // namespace

TEST_CASE("a file written plain or compressed reads back whole and in order") {
  Folder folder;
  for (const char* name : {"a.jsonl", "a.jsonl.gz"}) {
    CAPTURE(name);
    auto w = feed::Writer::create(folder / name);
    REQUIRE(w);
    for (int i = 0; i < 5000; ++i) REQUIRE(w->write(message(i)));
    REQUIRE(w->flush());
    REQUIRE(w->close());
    auto r = feed::Reader::open(folder / name);
    REQUIRE(r);
    int n = 0;
    while (const auto m = r->next()) {
      CHECK(m->payload == message(n).payload);
      CHECK(m->at == message(n).at);
      ++n;
    }
    CHECK(n == 5000);
    CHECK(r->bad() == 0);
    CHECK_FALSE(r->damage());
  }
  CHECK(read_bytes(folder / "a.jsonl.gz").size() < read_bytes(folder / "a.jsonl").size() / 3);
}

TEST_CASE("what was flushed can be read while the file is still open") {
  Folder folder;
  auto w = feed::Writer::create(folder / "open.jsonl.gz");
  REQUIRE(w);
  REQUIRE(w->write(message(1)));
  REQUIRE(w->flush());
  auto r = feed::Reader::open(folder / "open.jsonl.gz");
  REQUIRE(r);
  CHECK(r->next());
  CHECK_FALSE(r->next());
}

TEST_CASE("bad lines are counted, named by number and skipped") {
  auto r = feed::Reader::over("{\"t\":\"2026-01-12T15:04:05Z\",\"topic\":\"a\",\"payload\":1}\n\nrubbish\n{}\n{\"t\":\"2026-01-12T15:04:06Z\",\"topic\":\"a\",\"payload\":2}", "my.jsonl");
  CHECK(r.next()->payload == "1");
  CHECK(r.next()->payload == "2");
  CHECK_FALSE(r.next());
  CHECK(r.lines() == 5);
  CHECK(r.bad() == 2);
  REQUIRE(r.faults().size() == 2);
  CHECK(r.faults()[0].text() == "my.jsonl:3: not a JSON object");
  CHECK(r.faults()[1].text() == "my.jsonl:4: t is missing");
}

TEST_CASE("of very many bad lines the first ones are kept and all are counted") {
  std::string text;
  for (int i = 0; i < 1000; ++i) text += "x\n";
  auto r = feed::Reader::over(text);
  CHECK_FALSE(r.next());
  CHECK(r.bad() == 1000);
  CHECK(r.faults().size() == feed::Reader::kept_faults);
}

TEST_CASE("a compressed file that breaks off gives what it holds and says so") {
  Folder folder;
  {
    auto w = feed::Writer::create(folder / "cut.jsonl.gz");
    REQUIRE(w);
    for (int i = 0; i < 3000; ++i) REQUIRE(w->write(message(i)));
    REQUIRE(w->close());
  }
  const std::string bytes = read_bytes(folder / "cut.jsonl.gz");
  std::ofstream(folder / "cut.jsonl.gz", std::ios::binary | std::ios::trunc) << bytes.substr(0, bytes.size() / 2);
  auto r = feed::Reader::open(folder / "cut.jsonl.gz");
  REQUIRE(r);
  int n = 0;
  while (r->next()) ++n;
  CHECK(n > 1000);
  REQUIRE(r->damage());
  CHECK(r->damage()->text().find("the file breaks off: the compressed data ends early") != std::string::npos);
}

TEST_CASE("what cannot be opened or made is one plain sentence") {
  Folder folder;
  CHECK(feed::Reader::open(folder / "none.jsonl").fault().text() == (folder / "none.jsonl") + ": cannot be opened: No such file or directory");
  CHECK(feed::Reader::open(folder.path.string()).fault().text() == folder.path.string() + ": is a folder, not a feed file");
  CHECK(feed::Writer::create(folder / "no/such/x.jsonl").fault().text() == (folder / "no/such/x.jsonl") + ": cannot be created: No such file or directory");
  auto full = feed::Writer::create("/dev/full");
  REQUIRE(full);
  REQUIRE(full->write(message(1)));
  CHECK(full->flush().fault().text() == "/dev/full: cannot be written: No space left on device");
}

TEST_CASE("a line longer than the limit is one bad line, the next one is read") {
  Folder folder;
  {
    std::ofstream out(folder / "long.jsonl");
    out << std::string(feed::Reader::longest_line + 200000, 'x') << "\n{\"t\":\"2026-01-12T15:04:06Z\",\"topic\":\"a\",\"payload\":2}\n";
  }
  auto r = feed::Reader::open(folder / "long.jsonl");
  REQUIRE(r);
  CHECK(r->next()->payload == "2");
  CHECK(r->bad() == 1);
  CHECK(r->faults()[0].what == "line longer than 16 MiB");
}

// A journal that came home on a card: its folder may not be written, its writer was killed, or the card broke.
#include <doctest/doctest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <random>

#include "journal/folder.h"
#include "journal/helpers.h"

using namespace fw;
using namespace fw::testing;
namespace fs = std::filesystem;

namespace {

/// Rights do not bind root: for a while somebody else.
struct Nobody {
  Nobody() { if (root) REQUIRE(::seteuid(65534) == 0); }
  ~Nobody() { if (root) (void)!::seteuid(0); }
  const bool root = ::geteuid() == 0;
};

/// A journal whose last hours are in the log only, as a killed writer leaves it.
std::string killed(const Folder& f, const Folder& card) {
  Winter winter(start);
  auto j = opened(f / "demo.journal", {}, winter.turn());
  REQUIRE(j);
  play(*j, winter, 600);
  REQUIRE(j->flush(winter.turn()));
  for (const char* part : {"", "-wal"}) fs::copy_file(f / "demo.journal" + part, card / "demo.journal" + part);
  return card / "demo.journal";
}

void read_only(const Folder& card) {
  for (const auto& e : fs::directory_iterator(card.path())) REQUIRE(::chmod(e.path().c_str(), 0444) == 0);
  REQUIRE(::chmod(card.path().c_str(), 0555) == 0);
}

std::vector<std::string> files(const Folder& card) {
  std::vector<std::string> names;
  for (const auto& e : fs::directory_iterator(card.path())) names.push_back(e.path().filename().string());
  std::sort(names.begin(), names.end());
  return names;
}

}  // namespace

TEST_CASE("what a killed writer left in the log is read from a card that may not be written, too") {
  Folder f, card;
  const std::string path = killed(f, card);
  const std::string whole = csv(f / "demo.journal", "bank");
  REQUIRE(lines(whole) > 500);
  read_only(card);
  {
    const Nobody nobody;
    CHECK(csv(path, "bank") == whole);
  }
  CHECK(files(card) == std::vector<std::string>{"demo.journal", "demo.journal-wal"});
  REQUIRE(::chmod((path + "-wal").c_str(), 0) == 0);
  {
    const Nobody nobody;
    const auto r = journal::Reader::open(path);
    REQUIRE_FALSE(r);
    CHECK(r.fault().text() == path + ": its newest rows lie in demo.journal-wal beside it, which cannot be read from here (Permission denied). Copy both files to a "
                                     "folder that may be written");
  }
  REQUIRE(::chmod(card.path().c_str(), 0755) == 0);
}

TEST_CASE("a damaged journal is read as far as it can be, and says so; a sound one and a stranger are as before") {
  Folder f;
  const std::string path = f / "demo.journal";
  {
    Winter winter(start);
    auto j = opened(path, {}, winter.turn());
    REQUIRE(j);
    play(*j, winter, 3000);
    REQUIRE(j->flush(winter.turn()));
  }
  const auto sound = journal::Reader::open_whole(path);
  REQUIRE(sound);
  CHECK(sound->remark().empty());
  const std::string whole = csv(path, "bank");
  const auto pages = fs::file_size(path) / 4096;
  std::mt19937 random(7);
  for (const std::uintmax_t page : {std::uintmax_t{0}, pages / 4, pages / 2, 3 * pages / 4}) {
    CAPTURE(page);
    const std::string broken = f / "broken.journal";
    fs::copy_file(path, broken, fs::copy_options::overwrite_existing);
    {
      std::fstream file(broken, std::ios::in | std::ios::out | std::ios::binary);
      file.seekp(static_cast<std::streamoff>(page * 4096));
      for (int i = 0; i < 1024; ++i) {
        const auto word = random();
        file.write(reinterpret_cast<const char*>(&word), 4);
      }
    }
    const auto r = journal::Reader::open_whole(broken);
    REQUIRE(r);
    CHECK(r->remark().starts_with("the journal is damaged; this is what can be read of it, "));
    std::ostringstream out;
    REQUIRE(r->export_table("bank", {}, {}, out));
    CHECK(lines(out.str()) > lines(whole) * 9 / 10);
    CHECK(fs::file_size(broken) == fs::file_size(path));
  }
  std::ofstream(f / "letter.txt") << std::string(9000, 'x');
  const auto stranger = journal::Reader::open_whole(f / "letter.txt");
  REQUIRE_FALSE(stranger);
  CHECK(stranger.fault().what == "this is not a firnwatt journal");
}

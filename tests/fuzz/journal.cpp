// Any bytes as a journal file: opening, reading and writing either work or say why not.
#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "journal/journal.h"
#include "journal/reader.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  namespace fs = std::filesystem;
  const fs::path folder = fs::temp_directory_path() / ("firnwatt-fuzz-" + std::to_string(getpid()));
  fs::remove_all(folder);
  fs::create_directories(folder);
  const std::string path = folder / "j.journal";
  std::ofstream(path, std::ios::binary).write(reinterpret_cast<const char*>(data), static_cast<std::streamsize>(size));
  if (auto reader = fw::journal::Reader::open(path)) {
    std::ostringstream out;
    for (const auto table : fw::journal::Reader::tables()) (void)reader->export_table(table, {}, {}, out);
  }
  const fw::Elapsed at = fw::elapsed_ms(1'768'230'000'000);
  const fw::Now now{at, fw::utc_at(at, fw::Span{0}), true};
  if (auto journal = fw::journal::Journal::open(path, {}, now)) {
    (void)(*journal)->snapshots();
    (void)(*journal)->open_notices();
    (void)(*journal)->write({fw::EventRow{{now.utc, at, true}, "test", "a row"}}, now);
    for (int turn = 0; turn < 4; ++turn) (*journal)->maintain(now);
  }
  fs::remove_all(folder);
  return 0;
}

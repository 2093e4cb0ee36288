#include "score/labelled.h"

#include <zlib.h>

#include <filesystem>
#include <fstream>
#include <sstream>

namespace fw::score {

Result<Labelled> labelled_folder(const std::string& folder, const PracticeOptions& options) {
  auto rig = practice_rig(folder, options);
  if (!rig) return rig.fault();
  auto truth = truth_of(folder);
  if (!truth) return truth.fault();
  auto reader = feed::Reader::open(folder + "/feed.jsonl.gz");
  if (!reader) return reader.fault();
  return Labelled{std::filesystem::path(folder).filename().string(), std::move(*rig), std::move(*truth), std::move(*reader)};
}

Result<Labelled> labelled_generated(GeneratedFeed feed, const PracticeOptions& options) {
  auto rig = practice_rig_of(feed.site_json, feed.name, options);
  if (!rig) return rig.fault();
  std::istringstream rows(feed.truth_csv), events(feed.truth_events_csv);
  return Labelled{feed.name, std::move(*rig), truth_in(rows, events), feed::Reader::over(std::move(feed.feed), feed.name)};
}

Result<void> write_folder(const GeneratedFeed& feed, const std::string& folder) {
  std::error_code trouble;
  std::filesystem::create_directories(folder, trouble);
  for (const auto& [name, text] : {std::pair{"site.json", &feed.site_json}, {"truth.csv", &feed.truth_csv},
                                   {"truth_bank.csv", &feed.truth_bank_csv}, {"truth_events.csv", &feed.truth_events_csv}}) {
    std::ofstream out(folder + "/" + name, std::ios::binary);
    out << *text;
    if (!out) return Fault{folder + "/" + name, "cannot be written"};
  }
  const std::string path = folder + "/feed.jsonl.gz";
  gzFile gz = gzopen(path.c_str(), "wb6");
  if (!gz) return Fault{path, "cannot be written"};
  const bool all = gzwrite(gz, feed.feed.data(), static_cast<unsigned>(feed.feed.size())) == static_cast<int>(feed.feed.size());
  if (gzclose(gz) != Z_OK || !all) return Fault{path, "cannot be written"};
  return {};
}

}  // namespace fw::score

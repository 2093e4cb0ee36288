#pragma once
// A labelled feed to be played: from a folder, or made on the spot. Test only.
#include <string>

#include "feed/reader.h"
#include "rig/rig.h"
#include "score/generated/generated.h"
#include "score/practice_rig.h"
#include "score/truth.h"

namespace fw::score {

struct Labelled {
  std::string name;
  rig::Rig rig;
  Truth truth;
  feed::Reader reader;
};
Result<Labelled> labelled_folder(const std::string& folder, const PracticeOptions& options);
Result<Labelled> labelled_generated(GeneratedFeed feed, const PracticeOptions& options);
/// Writes a generated feed as a folder of the same form.
Result<void> write_folder(const GeneratedFeed& feed, const std::string& folder);

}  // namespace fw::score

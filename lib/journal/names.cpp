#include "journal/names.h"

namespace fw::journal {

int Names::id(std::string_view text) {
  if (text.empty()) return 0;
  if (const auto it = by_text_.find(text); it != by_text_.end()) return it->second;
  const int id = next_;
  put(id, std::string(text));
  unsaved_.push_back(id);
  return id;
}

int Names::find(std::string_view text) const {
  const auto it = by_text_.find(text);
  return it == by_text_.end() ? 0 : it->second;
}

const std::string& Names::text(int id) const {
  static const std::string none;
  const auto it = by_id_.find(id);
  return it == by_id_.end() ? none : it->second;
}

void Names::put(int id, std::string text) {
  by_text_[text] = id;
  by_id_[id] = std::move(text);
  next_ = std::max(next_, id + 1);
}

void Names::all_unsaved() {
  unsaved_.clear();
  for (const auto& [id, text] : by_id_) unsaved_.push_back(id);
}

}  // namespace fw::journal

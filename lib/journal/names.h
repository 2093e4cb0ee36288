#pragma once
// Texts that repeat in every sample (strings, reasons) are kept once and named by a number.
#include <algorithm>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace fw::journal {

class Names {
 public:
  /// The text's id; a new text gets the next free one and is `unsaved` until saved(). "" is 0.
  int id(std::string_view text);
  int find(std::string_view text) const;  ///< 0 when unknown
  const std::string& text(int id) const;
  bool knows(int id) const { return by_id_.count(id) != 0; }
  /// As read from a file.
  void put(int id, std::string text);
  /// Ids below this are not given to new texts.
  void reserve_below(int id) { next_ = std::max(next_, id); }
  const std::vector<int>& unsaved() const { return unsaved_; }
  void saved() { unsaved_.clear(); }
  /// All texts are to be saved again: the file is a new one.
  void all_unsaved();
  const std::map<int, std::string>& all() const { return by_id_; }

 private:
  std::map<std::string, int, std::less<>> by_text_;
  std::map<int, std::string> by_id_;
  std::vector<int> unsaved_;
  int next_ = 1;
};

}  // namespace fw::journal

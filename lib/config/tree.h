#pragma once
// A YAML node with its path and place, read as text only: what YAML would make of 010, on, .nan or 07:30
// on its own never comes into it. Reading a value reports what is wrong with it and gives nothing back.
#include <yaml-cpp/yaml.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "config/report.h"
#include "rig/rig.h"
#include "units/unit_table.h"

namespace fw::config {

class Block;

/// Limits for a value in the canonical unit of its dimension.
struct Within {
  double from = 0, to = 0;
  bool from_excluded = false;
};

class Field {
 public:
  Field(YAML::Node node, std::string path, Place place, Report& report)
      : node_(std::move(node)), path_(std::move(path)), place_(place), report_(&report) {}

  const std::string& path() const { return path_; }
  Place place() const { return place_; }
  Report& report() const { return *report_; }
  void fault(const std::string& what) const { report_->fault(place_, path_, what); }
  void warning(const std::string& what) const { report_->warning(place_, path_, what); }

  bool is_block() const { return node_.IsMap(); }
  bool is_list() const { return node_.IsSequence(); }
  bool is_text() const { return node_.IsScalar(); }

  /// Any text, not empty unless allowed.
  std::optional<std::string> text(bool may_be_empty = false) const;
  /// A number without unit.
  std::optional<double> number(Within within) const;
  std::optional<int> whole(int from, int to) const;
  /// "1600 W". bare: a unit understood when none is written; empty: a unit is wanted.
  std::optional<double> quantity(Dimension dimension, Within within, std::string_view bare = {}) const;
  /// A difference of temperatures or the like: "2 degC" is two kelvin.
  std::optional<double> difference(Dimension dimension, Within within) const;
  std::optional<Span> span(Span from, Span to) const;
  std::optional<bool> flag() const;
  std::optional<int> time_of_day() const;
  std::optional<std::pair<rig::TimeOfDay, rig::TimeOfDay>> hours_of_day() const;
  /// Position in `words`.
  std::optional<std::size_t> choice(const std::vector<std::string>& words) const;
  std::optional<std::string> topic() const;
  std::optional<std::string> pointer() const;

  std::optional<Block> block(std::string_view what) const;
  /// The entries of a list; a fault when it is none or empty.
  std::vector<Field> list(std::string_view what) const;
  /// The entries of a map with free, checked names, in the order of the file.
  std::vector<std::pair<std::string, Field>> named(std::string_view what) const;
  /// Text keys with text values, any names.
  std::vector<std::pair<std::string, Field>> table(std::string_view what) const;

 private:
  std::optional<double> measured(Dimension dimension, Within within, std::string_view bare, bool difference) const;
  std::string scalar() const { return node_.Scalar(); }
  std::string kind() const;

  YAML::Node node_;
  std::string path_;
  Place place_;
  Report* report_;
};

/// A map of known keys. Every key is asked for once; what was never asked for is unknown.
class Block {
 public:
  Block(const YAML::Node& map, std::string path, Place place, Report& report);

  std::optional<Field> take(const std::string& key);
  /// Like take(); a missing key is a fault at the block's place, with what would be right, unless a misspelt one stands for it.
  std::optional<Field> need(const std::string& key, const std::string& what);
  bool has(const std::string& key) const;
  /// Reports what nobody asked for. Call once, last.
  void finish();

  const std::string& path() const { return path_; }
  Place place() const { return place_; }
  Report& report() const { return *report_; }
  void fault(const std::string& what) const { report_->fault(place_, path_, what); }

 private:
  struct Entry {
    std::string key;
    Place key_place;
    Field field;
    bool asked = false;
  };
  std::string path_;
  Place place_;
  Report* report_;
  std::vector<Entry> entries_;
  std::vector<std::string> known_;
  std::vector<std::pair<std::string, std::string>> missing_;   ///< needed keys that are not there, and what would be right
};

/// A number with as few digits as say it.
std::string figure(double v);

/// "bank.soc" below "bank"
std::string join(const std::string& path, const std::string& key);

}  // namespace fw::config

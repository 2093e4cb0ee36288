#pragma once
// A feed file as a row of messages: plain, gzip'd or from standard input. Lines that cannot be read
// are counted, remembered with their number (the first few), and skipped; empty lines are ignored.
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "units/message.h"
#include "units/result.h"

namespace fw::feed {

class Reader {
 public:
  static constexpr std::size_t kept_faults = 20;
  static constexpr std::size_t longest_line = 16u << 20;   ///< longer lines are bad lines

  /// path: a file (gzip is recognised by its content), or "-" for standard input.
  static Result<Reader> open(const std::string& path);
  /// A feed held in memory (not compressed).
  static Reader over(std::string text, std::string name = "feed");

  Reader(Reader&&) noexcept;
  Reader& operator=(Reader&&) noexcept;
  ~Reader();

  /// The next readable message, in file order; nothing at the end. `t` may run backwards: that is the core's business.
  std::optional<Message> next();

  std::uint64_t lines() const;                    ///< lines read so far, bad ones included
  std::uint64_t bad() const;                      ///< of these, not readable
  const std::vector<Fault>& faults() const;       ///< the first kept_faults, where = name:line
  /// Set when the file itself broke off (damaged gzip, read error): what could be read was delivered.
  const std::optional<Fault>& damage() const;

 private:
  struct State;
  explicit Reader(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace fw::feed

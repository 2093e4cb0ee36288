#pragma once
// Writes messages as a feed file; a path ending in .gz is compressed, "-" is standard output.
#include <memory>
#include <string>

#include "units/message.h"
#include "units/result.h"

namespace fw::feed {

class Writer {
 public:
  static Result<Writer> create(const std::string& path);
  Writer(Writer&&) noexcept;
  Writer& operator=(Writer&&) noexcept;
  ~Writer();                                      ///< closes; trouble then goes unsaid: call close()

  Result<void> write(const Message& m);
  /// Everything so far is with the operating system (a gzip block is ended, which costs a little size).
  Result<void> flush();
  Result<void> close();

 private:
  struct State;
  explicit Writer(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace fw::feed

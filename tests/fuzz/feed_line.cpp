// Any bytes as a feed: what is read can be written and read again, the same.
#include <cstdint>
#include <cstdlib>
#include <string>

#include "feed/line.h"
#include "feed/reader.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  auto reader = fw::feed::Reader::over(std::string(reinterpret_cast<const char*>(data), size));
  while (const auto m = reader.next()) {
    const auto again = fw::feed::line_in(fw::feed::line_of(*m));
    if (!again || again->at != m->at || again->topic != m->topic || again->payload != m->payload || again->retain != m->retain) std::abort();
  }
  return 0;
}

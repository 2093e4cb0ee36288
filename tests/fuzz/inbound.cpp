// Any bytes on our inbound topics. The first byte picks the topic.
#include <cstdint>

#include "core/inbound.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  static const char* const topics[] = {"alarms/snow-fore/acknowledge", "alarms/snow-fore/shelve", "notices/seen", "ask", "notes", "link",
                                       "clock", "broker", "sent", "journal", "alarms//shelve", "other"};
  fw::core::Inbound inbound;
  const fw::Message m{fw::elapsed_ms(1'768'230'000'000), "", std::string(reinterpret_cast<const char*>(data) + 1, size - 1),
                      (data[0] & 0x80) != 0};
  (void)inbound.read(topics[data[0] % (sizeof topics / sizeof *topics)], m);
  return 0;
}

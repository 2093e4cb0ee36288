#include "intake/topic_filter.h"

#include <doctest/doctest.h>

using fw::intake::matches;

TEST_CASE("filters match as the MQTT standard says (OASIS MQTT 3.1.1, 4.7)") {
  struct Row { const char* filter; const char* topic; bool fits; };
  for (const Row& r : {Row{"a/b", "a/b", true}, Row{"a/b", "a/c", false}, Row{"a/b", "a/b/c", false}, Row{"a/b", "A/b", false},
                       Row{"sport/tennis/player1/#", "sport/tennis/player1", true}, Row{"sport/tennis/player1/#", "sport/tennis/player1/score/x", true},
                       Row{"#", "a", true}, Row{"#", "/a/b", true}, Row{"sport/tennis/+", "sport/tennis/player1", true},
                       Row{"sport/tennis/+", "sport/tennis/player1/ranking", false}, Row{"sport/+", "sport", false}, Row{"sport/+", "sport/", true},
                       Row{"+/+", "/finance", true}, Row{"/+", "/finance", true}, Row{"+", "/finance", false}, Row{"#", "$SYS/x", false},
                       Row{"+/monitor/clients", "$SYS/monitor/clients", false}, Row{"$SYS/#", "$SYS/x", true}, Row{"$SYS/monitor/+", "$SYS/monitor/clients", true},
                       Row{"a/+/c", "a/b/c", true}, Row{"a/+/c", "a//c", true}, Row{"a/+/c", "a/b/d", false}, Row{"a/#", "ab", false}, Row{"a//b", "a/b", false}}) {
    CAPTURE(r.filter);
    CAPTURE(r.topic);
    CHECK(matches(r.filter, r.topic) == r.fits);
  }
}

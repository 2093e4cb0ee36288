#pragma once
// How long to wait before the next try, and whether somebody else is using our client id.
// Pure: time and chance come in as arguments.
#include "units/time.h"

namespace fw::mqtt {

/// Pause before the next connection attempt. The first one after a loss is short, then the pause
/// doubles up to 15 s (60 s while another client fights for our id), each with jitter so that many
/// clients of one broker do not come back together.
class Backoff {
 public:
  /// An attempt failed before the broker accepted us.
  void failed();
  /// The broker accepted us and the connection then ended after `lived`.
  /// by_broker: closed from the other side without a reason; taken_over: the broker said so (MQTT 5, 0x8E).
  void lost(Span lived, bool by_broker, bool taken_over);
  /// The pause to keep now. chance: uniform in [0, 1).
  Span pause(double chance) const;
  /// True from the moment another client with our id is believed to exist until a connection has lasted.
  /// MQTT 5 brokers say so; on 3.1.1 it is concluded from four short connections in a row, each
  /// closed by a broker that accepted us again at once.
  bool contested() const { return contested_; }
  /// A connection has been up for `lived`: long ones end the suspicion.
  void holding(Span lived);

 private:
  int failures_ = 0;
  int short_lives_ = 0;
  bool contested_ = false;
};

}  // namespace fw::mqtt

#pragma once
// Certificates made in the test with the openssl program.
#include <string>

#include "support/process.h"

namespace fw::test {

class Certificates {
 public:
  Certificates();  ///< makes an authority: ca.pem
  std::string ca() const { return dir_.file("ca.pem"); }
  /// A certificate signed by the authority, for 127.0.0.1 and localhost, valid between two days from now.
  struct Pair { std::string cert, key; };
  Pair make(const std::string& name, int from_days = -1, int to_days = 30) const;

 private:
  TempDir dir_;
};

}  // namespace fw::test

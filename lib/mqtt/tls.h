#pragma once
// The TLS side of a connection: who the broker must prove to be, and why it was not believed.
#include <memory>
#include <string>

#include "units/result.h"

typedef struct ssl_ctx_st SSL_CTX;

namespace fw::mqtt {

struct TlsSettings {
  std::string host;       ///< name or address the broker's certificate must carry
  std::string ca_file;    ///< PEM; empty: the system's authorities
  std::string cert_file;  ///< PEM chain, with key_file; empty: no client certificate
  std::string key_file;
};

/// A client context that accepts TLS 1.2 and up, verifies chain, dates and name, and remembers why a
/// certificate was refused. Files are read when it is made.
class Tls {
 public:
  static Result<std::unique_ptr<Tls>> make(const TlsSettings& settings);
  ~Tls();
  Tls(const Tls&) = delete;
  Tls& operator=(const Tls&) = delete;

  SSL_CTX* context() const { return context_; }
  /// "certificate has expired" and the like; empty when no certificate was refused.
  const std::string& refusal() const { return refusal_; }

 private:
  Tls() = default;
  friend struct TlsHooks;
  SSL_CTX* context_ = nullptr;
  std::string host_;
  bool numeric_ = false;  ///< host_ is an address, not a name
  std::string refusal_;
};

}  // namespace fw::mqtt

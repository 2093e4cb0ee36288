#include "mqtt/tls.h"

#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>

namespace fw::mqtt {

struct TlsHooks {
  static Tls* of(const SSL* ssl) { return static_cast<Tls*>(SSL_CTX_get_app_data(SSL_get_SSL_CTX(ssl))); }

  static int verify(int ok, X509_STORE_CTX* store) {
    if (ok) return 1;
    const auto* ssl = static_cast<const SSL*>(X509_STORE_CTX_get_ex_data(store, SSL_get_ex_data_X509_STORE_CTX_idx()));
    Tls* tls = of(ssl);
    if (tls->refusal_.empty()) tls->refusal_ = X509_verify_cert_error_string(X509_STORE_CTX_get_error(store));
    return 0;
  }

  // The library connects to a numeric address and would announce that; the broker wants its name.
  static void name_server(const SSL* ssl, int where, int) {
    if (!(where & SSL_CB_HANDSHAKE_START)) return;
    const Tls* tls = of(ssl);
    if (!tls->numeric_) SSL_set_tlsext_host_name(const_cast<SSL*>(ssl), tls->host_.c_str());
  }
};

namespace {
Fault last_error(const std::string& where, const std::string& what) {
  const char* reason = ERR_reason_error_string(ERR_peek_last_error());
  ERR_clear_error();
  return Fault{where, reason ? what + " (" + reason + ")" : what};
}
}  // namespace

Tls::~Tls() { SSL_CTX_free(context_); }

Result<std::unique_ptr<Tls>> Tls::make(const TlsSettings& s) {
  std::unique_ptr<Tls> tls{new Tls};
  tls->host_ = s.host;
  tls->context_ = SSL_CTX_new(TLS_client_method());
  if (!tls->context_) return last_error("", "TLS could not be set up");
  SSL_CTX_set_app_data(tls->context_, tls.get());
  SSL_CTX_set_min_proto_version(tls->context_, TLS1_2_VERSION);
  SSL_CTX_set_verify(tls->context_, SSL_VERIFY_PEER, &TlsHooks::verify);
  SSL_CTX_set_info_callback(tls->context_, &TlsHooks::name_server);
  SSL_CTX_set_mode(tls->context_, SSL_MODE_ENABLE_PARTIAL_WRITE | SSL_MODE_ACCEPT_MOVING_WRITE_BUFFER);

  X509_VERIFY_PARAM* expected = SSL_CTX_get0_param(tls->context_);
  X509_VERIFY_PARAM_set_hostflags(expected, X509_CHECK_FLAG_NO_PARTIAL_WILDCARDS);
  tls->numeric_ = X509_VERIFY_PARAM_set1_ip_asc(expected, s.host.c_str()) == 1;
  if (!tls->numeric_ && X509_VERIFY_PARAM_set1_host(expected, s.host.c_str(), s.host.size()) != 1)
    return last_error(s.host, "is not a name a certificate can carry");
  ERR_clear_error();

  if (s.ca_file.empty()) {
    if (SSL_CTX_set_default_verify_paths(tls->context_) != 1)
      return last_error("", "the system's certificate authorities could not be read");
  } else if (SSL_CTX_load_verify_locations(tls->context_, s.ca_file.c_str(), nullptr) != 1) {
    return last_error(s.ca_file, "could not be read as certificate authorities (PEM)");
  }
  if (!s.cert_file.empty()) {
    if (SSL_CTX_use_certificate_chain_file(tls->context_, s.cert_file.c_str()) != 1)
      return last_error(s.cert_file, "could not be read as a certificate (PEM)");
    if (SSL_CTX_use_PrivateKey_file(tls->context_, s.key_file.c_str(), SSL_FILETYPE_PEM) != 1)
      return last_error(s.key_file, "could not be read as the private key (PEM)");
    if (SSL_CTX_check_private_key(tls->context_) != 1)
      return last_error(s.key_file, "does not belong to the certificate");
  }
  return tls;
}

}  // namespace fw::mqtt

#include "support/certificates.h"

#include <ctime>
#include <stdexcept>

namespace fw::test {
namespace {
void openssl(std::vector<std::string> args) {
  args.insert(args.begin(), "openssl");
  const Finished done = run(std::move(args));
  if (done.code != 0) throw std::runtime_error("openssl: " + done.err);
}

std::string day(int from_now) {
  const std::time_t t = std::time(nullptr) + from_now * 86400L;
  std::tm utc{};
  gmtime_r(&t, &utc);
  char text[32];
  std::strftime(text, sizeof text, "%y%m%d%H%M%SZ", &utc);
  return text;
}
}  // namespace

Certificates::Certificates() {
  openssl({"req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-keyout", dir_.file("ca.key"), "-out", ca(),
           "-days", "60", "-subj", "/CN=Test authority"});
  dir_.write("index", "");
  dir_.write("serial", "01");
  dir_.write("ca.conf", "[ca]\ndefault_ca=d\n[d]\ndatabase=" + dir_.file("index") + "\nserial=" + dir_.file("serial") +
                            "\nnew_certs_dir=" + dir_.path() + "\ndefault_md=sha256\npolicy=p\nunique_subject=no\nx509_extensions=x\n[p]\ncommonName=supplied\n"
                            "[x]\nsubjectAltName=IP:127.0.0.1,DNS:localhost\n");
}

Certificates::Pair Certificates::make(const std::string& name, int from_days, int to_days) const {
  const Pair pair{dir_.file(name + ".pem"), dir_.file(name + ".key")};
  openssl({"req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-keyout", pair.key, "-out", dir_.file(name + ".csr"),
           "-subj", "/CN=" + name});
  openssl({"ca", "-batch", "-notext", "-config", dir_.file("ca.conf"), "-cert", ca(), "-keyfile", dir_.file("ca.key"), "-in",
           dir_.file(name + ".csr"), "-out", pair.cert, "-startdate", day(from_days), "-enddate", day(to_days)});
  return pair;
}

}  // namespace fw::test

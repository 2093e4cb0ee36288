#include "described.h"

#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <sstream>

#include "clocks.h"
#include "config/load.h"
#include "units/text.h"

namespace fw {
namespace {

Result<std::string> first_line_of(const std::string& path) {
  std::ifstream in(path);
  std::string line;
  if (!in || !std::getline(in, line)) return Fault{path, "the password file cannot be read or is empty"};
  while (!line.empty() && (line.back() == '\r' || line.back() == '\n')) line.pop_back();
  return line;
}

Result<std::string> password_of(const rig::Mqtt& m) {
  if (m.password_file.empty()) return m.password;
  const char* credentials = std::getenv("CREDENTIALS_DIRECTORY");
  if (credentials && m.password_file.find('/') == std::string::npos) {
    const std::string path = std::string(credentials) + "/" + m.password_file;
    if (std::filesystem::exists(path)) return first_line_of(path);
  }
  return first_line_of(m.password_file);
}

Result<Described> with_words(rig::Rig r) {
  auto words = Words::in_zone(r.site.timezone, r.display.fahrenheit);
  if (!words) return words.fault();
  return Described{std::move(r), std::move(*words)};
}

}  // namespace

std::optional<Described> described(const std::string& config_path, bool say_warnings) {
  config::Loaded loaded = config::load_file(config_path);
  for (const Fault& f : loaded.faults) std::cerr << f.text() << "\n";
  if (say_warnings)
    for (const Fault& f : loaded.warnings) std::cerr << f.text() << "\n";
  if (!loaded.rig) return std::nullopt;
  auto result = with_words(std::move(*loaded.rig));
  if (!result) {
    std::cerr << config_path << ": " << result.fault().text() << "\n";
    return std::nullopt;
  }
  return std::move(*result);
}

Result<Described> described_quietly(const std::string& config_path) {
  config::Loaded loaded = config::load_file(config_path);
  if (loaded.rig) return with_words(std::move(*loaded.rig));
  std::string all;
  for (const Fault& f : loaded.faults) all += (all.empty() ? "" : "\n") + f.text();
  return Fault{"", all};
}

std::string journal_path(const rig::Rig& rig, const std::string& config_path) {
  if (!rig.journal.path.empty()) return rig.journal.path;
  const auto env = [](const char* name) { const char* v = std::getenv(name); return std::string(v ? v : ""); };
  std::string folder = env("STATE_DIRECTORY");
  folder = folder.substr(0, folder.find(':'));
  const std::filesystem::path config{config_path};
  if (folder.empty() && config.parent_path() == "/etc/firnwatt") {
    const auto service = std::filesystem::path{"/var/lib/firnwatt"} / config.stem();
    std::error_code none;
    if (std::filesystem::is_directory(service, none)) folder = service.string();
  }
  if (folder.empty() && !env("XDG_STATE_HOME").empty()) folder = env("XDG_STATE_HOME") + "/firnwatt";
  if (folder.empty() && !env("HOME").empty()) folder = env("HOME") + "/.local/state/firnwatt";
  if (folder.empty()) folder = ".";
  return folder + "/" + rig.name + ".journal";
}

Result<mqtt::Settings> broker_settings(const rig::Rig& rig, const std::string& id_suffix) {
  const rig::Mqtt& m = rig.mqtt;
  auto password = password_of(m);
  if (!password) return password.fault();
  mqtt::Settings s;
  s.host = m.host;
  s.port = m.port;
  s.tls = m.tls;
  s.ca_file = m.ca_file;
  s.cert_file = m.cert_file;
  s.key_file = m.key_file;
  s.user = m.user;
  s.password = std::move(*password);
  s.client_id = (m.client_id.empty() ? "firnwatt-" + rig.name : m.client_id) + (id_suffix.empty() ? "" : "-" + id_suffix);
  s.protocol = m.protocol;
  s.clean_session = !id_suffix.empty() || m.clean_session;
  s.keep_alive_s = m.keep_alive_s;
  s.max_payload_bytes = m.max_payload_bytes;
  return s;
}

std::string root_of(const rig::Rig& rig) { return "firnwatt/" + rig.name + "/"; }

std::optional<Span> span_in(const std::string& text) {
  std::size_t end = text.find_first_not_of("0123456789.");
  if (end == 0) return std::nullopt;
  const auto value = number_in(text.substr(0, end));
  std::string unit = end == std::string::npos ? "s" : text.substr(end);
  while (!unit.empty() && unit.front() == ' ') unit.erase(0, 1);
  double ms = 0;
  if (unit == "ms") ms = 1;
  else if (unit == "s" || unit == "sec") ms = 1e3;
  else if (unit == "min" || unit == "m") ms = 60e3;
  else if (unit == "h") ms = 3600e3;
  else if (unit == "d" || unit == "day" || unit == "days") ms = 86400e3;
  if (!value || ms == 0 || !(*value * ms >= 1) || *value * ms > 1e12) return std::nullopt;
  return Span{static_cast<Span::rep>(*value * ms)};
}

std::optional<Utc> instant_in(const std::string& text, const Words& words) {
  if (auto zoned = utc_in(text)) return zoned;
  if (text.size() != 10) return words.from_local(text, wall_time());
  // a day's first instant: where a clock change falls on midnight there is no 00:00
  const auto noon = words.from_local(text + "T12:00:00", wall_time());
  return noon ? std::optional{words.local_midnight(*noon)} : std::nullopt;
}

}  // namespace fw

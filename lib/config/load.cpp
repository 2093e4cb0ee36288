#include "config/load.h"

#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/yaml.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <optional>
#include <sstream>

#include "config/sections.h"
#include "rig/checks.h"
#include "units/text.h"

namespace fw::config {

namespace {

constexpr std::size_t largest = 1u << 20;

std::string_view line_of(std::string_view text, int line) {
  for (; line > 0; --line) {
    const auto end = text.find('\n');
    if (end == std::string_view::npos) return {};
    text.remove_prefix(end + 1);
  }
  return text.substr(0, text.find('\n'));
}

/// Where the first malformed byte stands.
Place not_utf8_at(std::string_view text) {
  Place at{1, 1};
  while (!text.empty()) {
    const auto line = text.substr(0, text.find('\n'));
    if (!is_utf8(line)) {
      std::size_t good = line.size();
      while (good > 0 && !is_utf8(line.substr(0, good))) --good;
      return {at.line, static_cast<int>(good) + 1};
    }
    text.remove_prefix(std::min(line.size() + 1, text.size()));
    ++at.line;
  }
  return at;
}

std::string yaml_trouble(const YAML::Exception& e, std::string_view text) {
  // A bare % is the slip people make here: YAML keeps it for itself.
  if (e.mark.pos >= 0 && static_cast<std::size_t>(e.mark.pos) < text.size() && text[static_cast<std::size_t>(e.mark.pos)] == '%')
    return "% cannot begin a value in YAML; write \"%\" in quotes, or percent";
  const auto line = line_of(text, e.mark.line);
  if (line.substr(0, line.find_first_not_of(" \t")).find('\t') != std::string_view::npos) return "a tab at the start of the line; YAML wants blanks there";
  return "not YAML: " + printable(e.msg, 120);
}

void read_rig(const Field& root, Draft& draft) {
  auto block = root.block("rig, site, strings ...");
  if (!block) return;
  Block& top = *block;
  if (const auto f = top.need("rig", "a short name for topics, for example snow-finch"))
    if (const auto text = f->text()) {
      bool name = rig::is_name(*text) && text->find('_') == std::string::npos;
      if (!name) f->fault("'" + printable(*text, 60) + "' is not a rig's name: small letters, digits and -, at most 40");
      draft.rig.name = *text;
    }
  put(draft.rig.simulation, top.take("simulation"), [](const Field& f) { return f.flag(); });
  if (const auto f = top.take("display"))
    if (auto display = f->block("temperature: celsius or fahrenheit")) {
      if (const auto t = display->take("temperature"))
        if (const auto k = t->choice({"celsius", "fahrenheit"})) draft.rig.display.fahrenheit = *k == 1;
      display->finish();
    }
  read_site(top, draft);
  read_strings(top, draft);
  read_bank(top, draft);
  read_chargers(top, draft);
  read_heaters(top, draft);
  read_loads(top, draft);
  read_forecast(top, draft);
  read_broker(top, draft);
  read_phone(top, draft);
  read_alarms(top, draft);
  read_rules(top, draft);
  read_advice(top, draft);
  read_journal(top, draft);
  top.finish();
  cross_check(draft);
}

/// Where a second document begins. Asked for one by one: all at once the library never ends on a stray comma.
std::optional<YAML::Mark> second_document(std::string_view text) {
  struct Begins : YAML::EventHandler {
    std::optional<YAML::Mark> at;
    void OnDocumentStart(const YAML::Mark& mark) override { at = mark; }
    void OnDocumentEnd() override {}
    void OnNull(const YAML::Mark&, YAML::anchor_t) override {}
    void OnAlias(const YAML::Mark&, YAML::anchor_t) override {}
    void OnScalar(const YAML::Mark&, const std::string&, YAML::anchor_t, const std::string&) override {}
    void OnSequenceStart(const YAML::Mark&, const std::string&, YAML::anchor_t, YAML::EmitterStyle::value) override {}
    void OnSequenceEnd() override {}
    void OnMapStart(const YAML::Mark&, const std::string&, YAML::anchor_t, YAML::EmitterStyle::value) override {}
    void OnMapEnd() override {}
  } begins;
  std::istringstream in{std::string{text}};
  YAML::Parser parser{in};
  if (!parser.HandleNextDocument(begins) || !parser.HandleNextDocument(begins)) return std::nullopt;
  return begins.at;
}

Loaded failed(std::string where, std::string what) {
  Loaded out;
  out.faults.push_back({std::move(where), std::move(what)});
  return out;
}

}  // namespace

Loaded load_text(std::string_view text, const std::string& name) {
  if (text.size() > largest) return failed(name, "is larger than 1 MiB; this is no rig's config");
  if (!is_utf8(text)) return failed(Report{name}.where(not_utf8_at(text)), "this is not UTF-8 text; save the file as UTF-8");
  if (text.find('\0') != std::string_view::npos) return failed(name, "holds a zero byte; this is no text");
  Report report{name};
  try {
    const YAML::Node document = YAML::Load(std::string{text});
    if (!document || document.IsNull()) return failed(name, "is empty; see the commented example for what a rig needs");
    if (const auto second = second_document(text)) report.fault(place_of(*second), "", "a second document begins; one rig, one file");
    Draft draft{report, name};
    Place at = place_of(document.Mark());
    if (at.line == 0) at = {1, 1};
    read_rig(Field{document, "", at, report}, draft);
    Loaded out;
    out.faults = report.faults();
    out.warnings = report.warnings();
    if (out.faults.empty()) out.rig = std::move(draft.rig);
    return out;
  } catch (const YAML::Exception& e) {
    const Place at = place_of(e.mark);
    return failed(report.where(at), yaml_trouble(e, text));
  }
}

Loaded load_file(const std::string& path) {
  errno = 0;
  std::ifstream in(path, std::ios::binary);
  if (!in) return failed(path, std::string{"cannot be opened: "} + std::strerror(errno ? errno : EIO));
  std::string text(largest + 1, '\0');
  in.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (in.bad() || (in.gcount() == 0 && !in.eof())) return failed(path, std::string{"cannot be read: "} + std::strerror(errno ? errno : EIO));
  text.resize(static_cast<std::size_t>(in.gcount()));
  return load_text(text, path);
}

}  // namespace fw::config

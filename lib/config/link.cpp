#include "config/sections.h"
#include "units/text.h"

namespace fw::config {

void read_broker(Block& top, Draft& draft) {
  const auto field = top.take("broker");
  auto block = field ? field->block("host and port") : std::nullopt;
  if (!block) return;
  Block& b = *block;
  rig::Mqtt& m = draft.rig.mqtt;
  draft.places["broker"] = field->place();
  const auto text = [](const Field& f) { return f.text(); };
  put(m.host, b.take("host"), text);
  const bool has_port = b.has("port");
  const auto port = b.take("port");
  if (const auto f = b.take("tls")) {
    if (f->is_block()) {
      m.tls = true;
      auto tls = *f->block("");
      put(m.ca_file, tls.take("ca_file"), text);
      const auto cert = tls.take("cert_file"), key = tls.take("key_file");
      put(m.cert_file, cert, text);
      put(m.key_file, key, text);
      if (cert && !key) cert->fault("needs key_file beside it");
      if (key && !cert) key->fault("needs cert_file beside it");
      tls.finish();
    } else {
      put(m.tls, f, [](const Field& x) { return x.flag(); });
    }
  }
  if (m.tls && !has_port) m.port = 8883;
  put(m.port, port, [](const Field& f) { return f.whole(1, 65535); });
  put(m.user, b.take("user"), text);
  const auto file = b.take("password_file"), literal = b.take("password");
  put(m.password_file, file, text);
  put(m.password, literal, text);
  if (literal && file) literal->fault("stands beside password_file, keep password_file");
  if (literal && !file) literal->warning("anyone who can read this file can read the password; put it into a file of its own and name that with password_file");
  if ((literal || file) && m.user.empty()) (literal ? literal : file)->fault("needs user beside it");
  put(m.client_id, b.take("client_id"), text);
  if (const auto f = b.take("protocol"))
    if (const auto k = f->choice({"3.1.1", "5"})) m.protocol = *k == 0 ? 4 : 5;
  put(m.clean_session, b.take("clean_session"), [](const Field& f) { return f.flag(); });
  put(m.keep_alive_s, b.take("keep_alive"), [](const Field& f) -> std::optional<int> {
    const auto s = f.span(seconds{5}, minutes{10});
    if (s && *s < seconds{8}) f.warning("below 8 s the connection is kept with 5 s all the same, and a slow link is taken for a lost one");
    return s ? std::optional{static_cast<int>(*s / seconds{1})} : std::nullopt;
  });
  put(m.max_payload_bytes, b.take("max_payload"), [](const Field& f) -> std::optional<std::size_t> {
    const auto bytes = f.quantity(Dimension::size, {1024, 16.0 * 1048576});
    return bytes ? std::optional{static_cast<std::size_t>(*bytes)} : std::nullopt;
  });
  b.finish();
}

void read_phone(Block& top, Draft& draft) {
  const auto field = top.take("phone");
  auto block = field ? field->block("quiet, morning, daily_summary ...") : std::nullopt;
  if (!block) return;
  Block& b = *block;
  rig::Phone& p = draft.rig.phone;
  put(p.quiet, b.take("quiet"), [](const Field& f) { return f.hours_of_day(); });
  put(p.morning.minutes, b.take("morning"), [](const Field& f) { return f.time_of_day(); });
  const auto flag = [](const Field& f) { return f.flag(); };
  put(p.daily_summary, b.take("daily_summary"), flag);
  put(p.seen_required, b.take("seen_required"), flag);
  put(p.bridge_link, b.take("bridge_link"), flag);
  put(p.max_per_day, b.take("max_per_day"), [](const Field& f) { return f.whole(1, 100); });
  b.finish();
}

void read_advice(Block& top, Draft& draft) {
  const auto field = top.take("advice");
  auto block = field ? field->block("climb, min_gain, present ...") : std::nullopt;
  if (!block) return;
  Block& b = *block;
  rig::Advice& a = draft.rig.advice;
  if (const auto f = b.take("climb"))
    if (const auto k = f->choice({"yes", "not_alone", "never"})) a.climb = static_cast<rig::Climb>(*k);
  put(a.min_gain_kwh, b.take("min_gain"), [](const Field& f) { return f.quantity(Dimension::energy, {0, 1000}); });
  put(a.present, b.take("present"), [](const Field& f) { return f.hours_of_day(); });
  put(a.max_wind_ms, b.take("max_wind"), [](const Field& f) { return f.quantity(Dimension::speed, {0, 60}); });
  put(a.min_air_c, b.take("min_air_temperature"), [](const Field& f) { return f.quantity(Dimension::temperature, {-60, 40}); });
  put(a.away, b.take("away"), [](const Field& f) { return f.flag(); });
  if (const auto f = b.take("jack"))
    if (auto jack = f->block("min and max: the pitch at the ends of its range")) {
      const auto angle = [](const Field& x) { return x.quantity(Dimension::angle, {-15, 15}, "deg"); };
      put(a.jack_min_deg, jack->need("min", "the pitch at its lowest, for example -2 deg"), angle);
      put(a.jack_max_deg, jack->need("max", "the pitch at its highest, for example 4 deg"), angle);
      if (a.jack_min_deg && a.jack_max_deg && *a.jack_min_deg >= *a.jack_max_deg) jack->fault("min must be below max");
      jack->finish();
    }
  if (const auto f = b.take("price"))
    if (const auto text = f->text()) {
      std::string t = *text;
      if (t.ends_with("/kWh")) t.erase(t.size() - 4);
      const auto blank = t.find(' ');
      const auto v = number_in(std::string_view{t}.substr(0, blank));
      if (!v || blank == std::string::npos || *v < 0 || *v > 1000 || t.size() - blank > 12)
        f->fault("'" + printable(*text, 40) + "' is not a price of energy, write for example 0.30 EUR/kWh");
      else {
        a.price_per_kwh = *v;
        a.currency = printable(std::string_view{t}.substr(blank + 1));
      }
    }
  b.finish();
}

void read_journal(Block& top, Draft& draft) {
  const auto field = top.take("journal");
  auto block = field ? field->block("path, batch, keep_minutes, max_size") : std::nullopt;
  if (!block) return;
  Block& b = *block;
  rig::Journal& j = draft.rig.journal;
  put(j.path, b.take("path"), [](const Field& f) { return f.text(); });
  put(j.batch, b.take("batch"), [](const Field& f) { return f.span(seconds{1}, hours{6}); });
  put(j.keep_minutes_days, b.take("keep_minutes"), [](const Field& f) -> std::optional<int> {
    const auto s = f.span(days{1}, days{3660});
    return s ? std::optional{static_cast<int>(*s / days{1})} : std::nullopt;
  });
  put(j.max_mb, b.take("max_size"), [](const Field& f) -> std::optional<std::size_t> {
    const auto bytes = f.quantity(Dimension::size, {1e6, 1e12});
    return bytes ? std::optional{static_cast<std::size_t>(*bytes / 1e6)} : std::nullopt;
  });
  b.finish();
}

}  // namespace fw::config

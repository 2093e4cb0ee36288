#include "outlook/clearing_accounts.h"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "outlook/kept.h"
#include "units/json.h"

namespace fw::outlook {
namespace {
constexpr Span one_clearing = hours{1};  // from the first string to the last
constexpr double gone_mm = 0.05;
constexpr int dusk_minute = 21 * 60;
}  // namespace

void ClearingAccounts::begin(int string, Utc at, const snow::Layer& would_be, std::optional<double> promised_kwh) {
  for (Account& a : accounts_) std::erase_if(a.parts, [&](const Part& p) { return p.string == string; });
  if (!accounts_.empty()) {
    Account& last = accounts_.back();
    if (at - last.sum.at < one_clearing && last.sum.at - at < one_clearing) {
      last.sum.at = std::min(last.sum.at, at);
      last.parts.push_back({string, would_be});
      return;
    }
  }
  accounts_.push_back({{at, 0, promised_kwh}, {{string, would_be}}});
}

bool ClearingAccounts::open(int string) const {
  return std::any_of(accounts_.begin(), accounts_.end(), [&](const Account& a) {
    return std::any_of(a.parts.begin(), a.parts.end(), [&](const Part& p) { return p.string == string; });
  });
}

void ClearingAccounts::on_minute(int string, const snow::Exposure& exposure, double expected_w, std::optional<double> measured_w) {
  for (Account& a : accounts_)
    for (Part& p : a.parts) {
      if (p.string != string) continue;
      p.would_be = layer_after(p.would_be, exposure, 1.0 / 60);
      if (measured_w) a.sum.kwh += std::max(0.0, *measured_w - expected_w * light_through(p.would_be)) / 60000;
    }
}

std::vector<Cleared> ClearingAccounts::take_closed(Utc now, const Words& words) {
  std::vector<Cleared> out;
  std::erase_if(accounts_, [&](const Account& a) {
    const bool runs = words.local_midnight(now) == words.local_midnight(a.sum.at) && words.minute_of_day(now) < dusk_minute &&
                      std::any_of(a.parts.begin(), a.parts.end(), [](const Part& p) { return p.would_be.water_mm > gone_mm; });
    if (!runs) out.push_back(a.sum);
    return !runs;
  });
  return out;
}

std::string ClearingAccounts::snapshot() const {
  nlohmann::json rows = nlohmann::json::array();
  for (const Account& a : accounts_) {
    nlohmann::json row{{"at", ms_of(a.sum.at)}, {"kwh", a.sum.kwh}, {"parts", nlohmann::json::array()}};
    if (a.sum.promised_kwh) row["promised"] = *a.sum.promised_kwh;
    for (const Part& p : a.parts)
      row["parts"].push_back({{"string", p.string}, {"would", kept::json_of(p.would_be)}});
    rows.push_back(row);
  }
  return json_text(nlohmann::json{{"v", 1}, {"open", rows}});
}

void ClearingAccounts::restore(std::string_view text) {
  accounts_.clear();
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  for (const auto& row : kept::rows(j, "open")) {
    const auto at = kept::time(row, "at");
    if (!at) continue;
    Account a{{*at, kept::number(row, "kwh"), {}}, {}};
    if (row.contains("promised")) a.sum.promised_kwh = kept::number(row, "promised");
    for (const auto& p : kept::rows(row, "parts")) a.parts.push_back({static_cast<int>(kept::number(p, "string")), kept::layer(p, "would")});
    accounts_.push_back(a);
  }
}

}  // namespace fw::outlook

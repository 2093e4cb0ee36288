#include "logging.h"

#include <spdlog/pattern_formatter.h>
#include <spdlog/sinks/stdout_sinks.h>

#include <cstdlib>

namespace fw {
namespace {
/// "<4>" in front of a line tells the system's log how grave it is.
class Priority : public spdlog::custom_flag_formatter {
 public:
  void format(const spdlog::details::log_msg& m, const std::tm&, spdlog::memory_buf_t& to) override {
    const char digit = m.level >= spdlog::level::err ? '3' : m.level == spdlog::level::warn ? '4' : m.level == spdlog::level::info ? '6' : '7';
    const char text[] = {'<', digit, '>'};
    to.append(text, text + 3);
  }
  std::unique_ptr<custom_flag_formatter> clone() const override { return std::make_unique<Priority>(); }
};
}  // namespace

std::shared_ptr<spdlog::logger> make_logger() {
  auto logger = std::make_shared<spdlog::logger>("firnwatt", std::make_shared<spdlog::sinks::stderr_sink_mt>());
  if (std::getenv("JOURNAL_STREAM")) {
    auto f = std::make_unique<spdlog::pattern_formatter>();
    f->add_flag<Priority>('*').set_pattern("%*%v");
    logger->set_formatter(std::move(f));
  } else {
    logger->set_pattern("%Y-%m-%dT%H:%M:%S.%eZ %l: %v", spdlog::pattern_time_type::utc);
  }
  logger->flush_on(spdlog::level::info);
  return logger;
}

void log(spdlog::logger& logger, Level level, const std::string& text) {
  switch (level) {
    case Level::debug: logger.debug("{}", text); break;
    case Level::info: logger.info("{}", text); break;
    case Level::warn: logger.warn("{}", text); break;
    case Level::error: logger.error("{}", text); break;
  }
}

std::optional<std::string> LogLimit::pass(const std::string& text, Elapsed now) {
  const Elapsed hour = floor_to(now, hours{1});
  if (hour != hour_) {
    hour_ = hour;
    seen_.clear();
  }
  // Lines that differ only in figures count as one.
  std::string key;
  for (const char c : text.substr(0, 120)) key += c >= '0' && c <= '9' ? '0' : c;
  if (seen_.size() >= 200 && !seen_.contains(key)) return std::nullopt;
  const int n = ++seen_[key];
  if (n > burst_) return std::nullopt;
  return n == burst_ ? text + " (further lines like this are held back until the hour is over)" : text;
}

}  // namespace fw

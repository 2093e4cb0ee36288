#include "guard/gate.h"

#include <algorithm>
#include <array>

namespace fw::guard {

namespace {
constexpr Span limit_rises_after = minutes{5};
constexpr std::array names{"none", "start", "cold", "hot", "no_temperature", "unit", "no_current", "resting"};
}  // namespace

std::string_view name(Block b) { return names[static_cast<std::size_t>(b)]; }

std::optional<Block> block_in(std::string_view text) {
  for (std::size_t i = 0; i < names.size(); ++i)
    if (text == names[i]) return static_cast<Block>(i);
  return std::nullopt;
}

int Gate::changes_within_hour(Elapsed now) {
  std::erase_if(changes_, [&](Elapsed c) { return now - c >= hours{1}; });
  return static_cast<int>(changes_.size());
}

void Gate::set(Block b, Elapsed now) {
  if (b == block_) return;
  const bool was_open = open();
  block_ = b;
  since_ = now;
  if (open() != was_open) changes_.push_back(now);
  if (!open()) higher_since_.reset();
}

void Gate::update(Elapsed now, const Input& in) {
  const rig::ChargeWindow& w = bank_.window;
  if ((in.min_c && decide_.too_cold(*in.min_c, w)) || (in.forbidden_c && decide_.too_cold(*in.forbidden_c, w))) cold_ = true;
  if ((in.max_c && decide_.too_hot(*in.max_c, w)) || (in.forbidden_c && decide_.too_hot(*in.forbidden_c, w))) hot_ = true;

  if (!in.min_c || !in.max_c || in.forbidden_c) {
    resuming_.reset();
    if (cold_ && (in.min_c || in.forbidden_c)) return set(Block::cold, now);
    if (hot_ && (in.max_c || in.forbidden_c)) return set(Block::hot, now);
    return set(in.ever_heard ? Block::no_temperature : Block::start, now);
  }
  if (in.unit_doubted) {
    resuming_.reset();
    return set(Block::unit, now);
  }

  const bool fine = decide_.may_resume(*in.min_c, *in.max_c, w);
  // After a start or a silence there is no telling from which side the cells came.
  const bool unknown_before = block_ == Block::start || block_ == Block::no_temperature || block_ == Block::unit;
  if (unknown_before && !fine) (*in.min_c < w.resume_c ? cold_ : hot_) = true;
  if (cold_ || hot_) {
    if (!fine) {
      resuming_.reset();
    } else if (!resuming_) {
      resuming_ = now;
    }
    if (resuming_ && decide_.dwell_over(now - *resuming_, w)) {
      cold_ = hot_ = false;
      resuming_.reset();
    }
  }
  if (cold_) return set(Block::cold, now);
  if (hot_) return set(Block::hot, now);

  double allowed = decide_.bank_limit_a(*in.min_c, *in.max_c, bank_);
  if (in.perhaps_min_c.value_or(*in.min_c) != *in.min_c || in.perhaps_max_c.value_or(*in.max_c) != *in.max_c)
    allowed = std::min(allowed, decide_.bank_limit_a(in.perhaps_min_c.value_or(*in.min_c), in.perhaps_max_c.value_or(*in.max_c), bank_));
  if (allowed <= 0) return set(Block::no_current, now);
  if (!open()) {
    if (!decide_.may_change_again(changes_within_hour(now))) return set(Block::resting, now);
    limit_a_ = allowed;
    higher_since_.reset();
    return set(Block::none, now);
  }
  if (allowed <= limit_a_) {
    limit_a_ = allowed;
    higher_since_.reset();
  } else {
    if (!higher_since_) higher_since_ = now, higher_a_ = allowed;
    higher_a_ = std::min(higher_a_, allowed);
    if (now - *higher_since_ >= limit_rises_after) {
      limit_a_ = higher_a_;
      higher_since_.reset();
    }
  }
}

std::optional<Elapsed> Gate::next_deadline() const {
  std::optional<Elapsed> next;
  const auto sooner = [&](Elapsed e) {
    if (!next || e < *next) next = e;
  };
  if (resuming_) sooner(*resuming_ + bank_.window.resume_dwell);
  if (block_ == Block::resting && !changes_.empty()) sooner(changes_[changes_.size() > 2 ? changes_.size() - 3 : 0] + hours{1});
  if (open() && higher_since_) sooner(*higher_since_ + limit_rises_after);
  return next;
}

Gate::Memory Gate::memory() const { return {cold_, hot_, open(), limit_a_, changes_}; }

void Gate::recall(const Memory& m, Elapsed now, bool keep_open) {
  cold_ = m.cold;
  hot_ = m.hot;
  changes_ = m.changes;
  for (Elapsed& c : changes_) c = std::min(c, now);  // the elapsed line began anew: count them as just made
  since_ = now;
  if (m.open && keep_open) {
    block_ = Block::none;
    limit_a_ = m.limit_a;
  }
  if (m.open && !keep_open) changes_.push_back(now);  // the stop itself took the permit away
}

}  // namespace fw::guard

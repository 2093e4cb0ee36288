#pragma once
// Expected trouble is a value. A Fault says where and what, in the reader's words.
#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace fw {

struct Fault {
  std::string where;  ///< file:line:column, a topic, a path; may be empty
  std::string what;   ///< what is wrong and what would be right
  std::string text() const { return where.empty() ? what : where + ": " + what; }
};

template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : v_(std::in_place_index<0>, std::move(value)) {}
  Result(Fault fault) : v_(std::in_place_index<1>, std::move(fault)) {}
  bool ok() const { return v_.index() == 0; }
  explicit operator bool() const { return ok(); }
  T& value() & { return std::get<0>(v_); }
  const T& value() const& { return std::get<0>(v_); }
  T&& value() && { return std::get<0>(std::move(v_)); }
  const Fault& fault() const { return std::get<1>(v_); }
  T* operator->() { return &value(); }
  const T* operator->() const { return &value(); }
  T& operator*() & { return value(); }
  const T& operator*() const& { return value(); }

 private:
  std::variant<T, Fault> v_;
};

/// A result without a value: empty means done.
template <>
class [[nodiscard]] Result<void> {
 public:
  Result() = default;
  Result(Fault fault) : f_(std::move(fault)) {}
  bool ok() const { return !f_; }
  explicit operator bool() const { return ok(); }
  const Fault& fault() const { return *f_; }

 private:
  std::optional<Fault> f_;
};

}  // namespace fw

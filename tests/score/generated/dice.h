#pragma once
// Chance from a seed, the same on every machine (splitmix64, public domain, S. Vigna; from memory). Test only.
#include <cmath>
#include <cstdint>
#include <initializer_list>
#include <iterator>
#include <string_view>

namespace fw::score {

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : state_(seed * 0x9E3779B97F4A7C15ULL + 0x1234567ULL) {}
  Dice(std::uint64_t seed, std::string_view purpose) : Dice(seed) {
    for (const char c : purpose) state_ = (state_ ^ static_cast<unsigned char>(c)) * 0x100000001B3ULL;
    next();
  }
  std::uint64_t next() {
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
  }
  double unit() { return static_cast<double>(next() >> 11) * 0x1.0p-53; }
  double between(double a, double b) { return a + (b - a) * unit(); }
  int whole(int a, int b) { return a + static_cast<int>(next() % static_cast<std::uint64_t>(b - a + 1)); }
  bool chance(double p) { return unit() < p; }
  double normal() {
    const double u = unit() + 1e-12;
    return std::sqrt(-2 * std::log(u)) * std::cos(6.283185307179586 * unit());
  }
  /// Normal with deviation s, never beyond `most`.
  double about(double s, double most) { return std::fmax(-most, std::fmin(most, s * normal())); }
  template <class T>
  T pick(std::initializer_list<T> of) {
    return *std::next(of.begin(), whole(0, static_cast<int>(of.size()) - 1));
  }

 private:
  std::uint64_t state_;
};

}  // namespace fw::score

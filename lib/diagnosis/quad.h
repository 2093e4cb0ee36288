#pragma once
// Four numbers side by side. The processor works on them at once where it can, and each rounds as it would alone.
// What is written for T stands for a double and for a Quad.
#include <bit>
#include <cstdint>

#define FW_INLINE [[gnu::always_inline]] inline

namespace fw::diagnosis {

struct alignas(32) Quad {
  typedef double Numbers __attribute__((vector_size(32)));
  typedef std::uint64_t Bits __attribute__((vector_size(32)));
  typedef std::int64_t Chosen __attribute__((vector_size(32)));
  struct Mask { Chosen v; };
  Numbers v{};

  Quad() = default;
  FW_INLINE Quad(const Quad& o) : v(o.v) {}   // at once, not by halves
  FW_INLINE Quad& operator=(const Quad& o) { v = o.v; return *this; }
  FW_INLINE Quad(double x) : v(x - Numbers{}) {}
  FW_INLINE explicit Quad(const Numbers& n) : v(n) {}

  FW_INLINE double& operator[](int i) { return reinterpret_cast<double*>(this)[i]; }
  FW_INLINE double operator[](int i) const { return reinterpret_cast<const double*>(this)[i]; }
  FW_INLINE Quad& operator+=(const Quad& o) { v += o.v; return *this; }
  FW_INLINE Quad& operator-=(const Quad& o) { v -= o.v; return *this; }
  FW_INLINE Quad& operator/=(const Quad& o) { v /= o.v; return *this; }
  FW_INLINE friend Quad operator+(const Quad& a, const Quad& b) { return Quad(a.v + b.v); }
  FW_INLINE friend Quad operator-(const Quad& a, const Quad& b) { return Quad(a.v - b.v); }
  FW_INLINE friend Quad operator*(const Quad& a, const Quad& b) { return Quad(a.v * b.v); }
  FW_INLINE friend Quad operator/(const Quad& a, const Quad& b) { return Quad(a.v / b.v); }
  FW_INLINE friend Mask operator<(const Quad& a, const Quad& b) { return {a.v < b.v}; }
  FW_INLINE friend Mask operator|(const Mask& a, const Mask& b) { return {a.v | b.v}; }
};

FW_INLINE double* numbers(Quad* q) { return reinterpret_cast<double*>(q); }
FW_INLINE const double* numbers(const Quad* q) { return reinterpret_cast<const double*>(q); }

FW_INLINE double choose(bool first, double a, double b) { return first ? a : b; }
FW_INLINE Quad choose(const Quad::Mask& first, const Quad& a, const Quad& b) { return Quad(first.v ? a.v : b.v); }
template <class T> FW_INLINE T less_of(const T& a, const T& b) { return choose(b < a, b, a); }
template <class T> FW_INLINE T more_of(const T& a, const T& b) { return choose(a < b, b, a); }

/// p times two to the n, n the whole number in the lowest bits of `n_in_bits`.
FW_INLINE double times_power_of_two(double p, double n_in_bits) {
  return std::bit_cast<double>(std::bit_cast<std::uint64_t>(p) + (std::bit_cast<std::uint64_t>(n_in_bits) << 52));
}
FW_INLINE Quad times_power_of_two(const Quad& p, const Quad& n_in_bits) {
  return Quad(Quad::Numbers(Quad::Bits(p.v) + (Quad::Bits(n_in_bits.v) << 52)));
}

/// x as m times two to the n, m from sqrt(1/2) to sqrt(2).
template <class Bits>
FW_INLINE void split_exponent(const Bits& x, Bits& m, Bits& biased) {
  constexpr std::uint64_t root_half = 0x3fe6a09e667f3bcd, exponent = 0xfff0000000000000, whole = 0x4330000000000000;
  const Bits over = x - root_half;
  m = x - (over & exponent);
  biased = ((over >> 52) ^ 0x800) | whole;   // of a double with n + 0x800 in its lowest bits
}
inline constexpr double exponent_bias = 0x1p52 + 0x800;
FW_INLINE void split_power_of_two(double x, double& m, double& n) {
  std::uint64_t a, b;
  split_exponent(std::bit_cast<std::uint64_t>(x), a, b);
  m = std::bit_cast<double>(a);
  n = std::bit_cast<double>(b) - exponent_bias;
}
FW_INLINE void split_power_of_two(const Quad& x, Quad& m, Quad& n) {
  Quad::Bits a, b;
  split_exponent(Quad::Bits(x.v), a, b);
  m = Quad(Quad::Numbers(a));
  n = Quad(Quad::Numbers(b)) - Quad(exponent_bias);
}

/// Quads that hold `count` numbers.
constexpr int quads_of(int count) { return (count + 3) / 4; }

}  // namespace fw::diagnosis

// A processor that does four at once gets code of its own, chosen at the start; the results are the same.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define FW_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define FW_WIDE
#endif

#pragma once
// Four numbers side by side. The processor works on them at once where it can, and each rounds as it would alone.

namespace fw::diagnosis {

struct alignas(32) Quad {
  typedef double Numbers __attribute__((vector_size(32)));
  Numbers v{};

  double& operator[](int i) { return reinterpret_cast<double*>(this)[i]; }
  double operator[](int i) const { return v[i]; }
  Quad& operator+=(const Quad& o) { v += o.v; return *this; }
  Quad& operator-=(const Quad& o) { v -= o.v; return *this; }
  Quad& operator/=(const Quad& o) { v /= o.v; return *this; }
  friend Quad operator-(const Quad& a, const Quad& b) { return {a.v - b.v}; }
  friend Quad operator*(const Quad& a, const Quad& b) { return {a.v * b.v}; }
  friend Quad operator*(const Quad& a, double b) { return {a.v * b}; }
  friend Quad operator*(double a, const Quad& b) { return {a * b.v}; }
  friend Quad operator/(const Quad& a, double b) { return {a.v / b}; }
};

/// Quads that hold `count` numbers.
constexpr int quads_of(int count) { return (count + 3) / 4; }

}  // namespace fw::diagnosis

// A processor that does four at once gets code of its own, chosen at the start; the results are the same.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define FW_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define FW_WIDE
#endif

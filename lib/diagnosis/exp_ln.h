#pragma once
// Exponential and natural logarithm without a branch or a call, so that several are worked out at once, and with the
// same digits on every machine. Within one unit of the last digit of the true value (tested).
#include "diagnosis/quad.h"

namespace fw::diagnosis {

/// e to the x, x in -700..700.
template <class T>
FW_INLINE T exp_of(const T& x) {
  constexpr double ln2_high = 0x1.62e42fefa3800p-1, ln2_low = 0x1.ef35793c76730p-45, per_ln2 = 0x1.71547652b82fep+0;
  constexpr double whole = 0x1.8p52;   // adding it rounds to a whole number and leaves that in the lowest bits
  const T shifted = x * per_ln2 + T(whole);
  const T n = shifted - T(whole);
  const T r = (x - n * T(ln2_high)) - n * T(ln2_low);   // within half of ln 2
  T p = T(1.0 / 6227020800);
  for (const double c : {1.0 / 479001600, 1.0 / 39916800, 1.0 / 3628800, 1.0 / 362880, 1.0 / 40320, 1.0 / 5040, 1.0 / 720, 1.0 / 120, 1.0 / 24, 1.0 / 6, 0.5})
    p = p * r + T(c);
  p = p * r * r + r + T(1.0);
  return times_power_of_two(p, shifted);
}

/// ln x, x from 1e-300 to 1e300.
template <class T>
FW_INLINE T ln_of(const T& x) {
  constexpr double ln2_high = 0x1.62e42fefa3800p-1, ln2_low = 0x1.ef35793c76730p-45;
  T m, n;   // x is m times two to the n, m from sqrt(1/2) to sqrt(2)
  split_power_of_two(x, m, n);
  const T f = m - T(1.0), s = f / (T(2.0) + f), z = s * s;
  T p = T(2.0 / 23);
  for (const double c : {2.0 / 21, 2.0 / 19, 2.0 / 17, 2.0 / 15, 2.0 / 13, 2.0 / 11, 2.0 / 9, 2.0 / 7, 2.0 / 5, 2.0 / 3}) p = p * z + T(c);
  return n * T(ln2_high) + (f - (s * (f - z * p) - n * T(ln2_low)));
}

}  // namespace fw::diagnosis

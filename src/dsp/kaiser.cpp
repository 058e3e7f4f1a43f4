#include "dsp/kaiser.h"

#include <cmath>
#include <numbers>

namespace sendworthy::dsp {

double bessel_i0(double x) {
  double sum = 1, term = 1;
  for (int k = 1; k < 60; ++k) {
    term *= (x / (2 * k)) * (x / (2 * k));
    sum += term;
  }
  return sum;
}

double kaiser_sinc(double at, double half, double cut, double beta) {
  const double u = at / half;
  if (std::abs(u) >= 1) return 0;
  const double sinc = at == 0 ? cut : std::sin(std::numbers::pi * cut * at) / (std::numbers::pi * at);
  return sinc * bessel_i0(beta * std::sqrt(1 - u * u)) / bessel_i0(beta);
}

}  // namespace sendworthy::dsp

// Held against KissFFT, a library of its own.
#include "dsp/fourier.h"

#include <doctest/doctest.h>
#include <kissfft/kiss_fft.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "signals.h"

using namespace sendworthy;

TEST_SUITE("dsp/fourier") {
  TEST_CASE("every size gives what KissFFT gives") {
    for (int size = 256; size <= 65536; size *= 2) {
      const auto a = test::noise(1, 0.5, static_cast<std::size_t>(size)),
                 b = test::noise(2, 0.5, static_cast<std::size_t>(size));
      std::vector<kiss_fft_cpx> in, out(static_cast<std::size_t>(size));
      std::vector<float> real, imaginary;
      for (std::size_t n = 0; n < a.size(); ++n) {
        in.push_back({static_cast<float>(a[n]), static_cast<float>(b[n])});
        real.push_back(in.back().r), imaginary.push_back(in.back().i);
      }
      auto* config = kiss_fft_alloc(size, 0, nullptr, nullptr);
      REQUIRE(config != nullptr);
      kiss_fft(config, in.data(), out.data());
      kiss_fft_free(config);
      dsp::Fourier(size).forward(real, imaginary);
      double most = 0, apart = 0;
      for (std::size_t k = 0; k < out.size(); ++k) {
        most = std::max(most, static_cast<double>(std::hypot(out[k].r, out[k].i)));
        apart = std::max(apart, static_cast<double>(std::hypot(out[k].r - real[k], out[k].i - imaginary[k])));
      }
      CAPTURE(size);
      CHECK(apart < 3e-6 * most);
    }
  }

  // A line of unit amplitude has the power size²/4 at its own frequency and at the mirrored one.
  TEST_CASE("two real signals in one transform keep their powers") {
    constexpr int kSize = 1024;
    const double line = 37;
    std::vector<float> real, imaginary, lines(kSize / 2 + 1, 0.0f);
    for (int n = 0; n < kSize; ++n) {
      real.push_back(static_cast<float>(std::cos(2 * M_PI * line * n / kSize)));
      imaginary.push_back(static_cast<float>(0.5 * std::sin(2 * M_PI * (line + 4) * n / kSize)));
    }
    dsp::Fourier(kSize).forward(real, imaginary);
    dsp::add_pair_powers(real, imaginary, lines);
    for (std::size_t k = 0; k < lines.size(); ++k) {
      const double expected = k == 37 ? kSize * kSize / 4.0 : k == 41 ? kSize * kSize / 16.0 : 0.0;
      CHECK(static_cast<double>(lines[k]) == doctest::Approx(expected).epsilon(1e-5).scale(10));
    }
    CHECK(dsp::sum_of(std::vector<float>(37, 0.5f)) == 18.5);
  }
}

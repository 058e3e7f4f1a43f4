// Kernels alone, with Google Benchmark: items are samples or frames. The unpruned true peak stands beside the pruned one.
#include <benchmark/benchmark.h>
#include <kissfft/kiss_fft.h>

#include <cmath>
#include <vector>

#include "dsp/fourier.h"
#include "dsp/low_band.h"
#include "dsp/planar.h"
#include "dsp/true_peak.h"
#include "dsp/weighting_bank.h"

namespace {

using namespace sendworthy::dsp;

std::vector<float> noise(std::size_t count, float gain, float ceiling) {
  std::vector<float> out(count);
  std::uint32_t state = 7;
  float low = 0;
  for (auto& v : out) {
    state = state * 1664525u + 1013904223u;
    low += 0.2f * (static_cast<float>(state) * (2.0f / 4294967296.0f) - 1.0f - low);
    v = std::min(ceiling, std::max(-ceiling, gain * low));
  }
  return out;
}

constexpr int kFrames = 1 << 18;

void true_peak(benchmark::State& state) {
  const bool limited = state.range(0) != 0;
  const auto x = noise(kFrames, limited ? 8.0f : 1.0f, limited ? 0.97f : 10.0f);
  for (auto _ : state) {
    TruePeakMeter meter;
    float peak = 0;
    std::int64_t closed = 0;
    for (int at = 0; at < kFrames; at += 8192) {
      meter.feed(x.data() + at, 8192);
      for (; closed + 4800 <= meter.closable(); closed += 4800) peak = std::max(peak, meter.close(closed + 4800).value);
    }
    benchmark::DoNotOptimize(peak);
  }
  state.SetItemsProcessed(state.iterations() * kFrames);
}
BENCHMARK(true_peak)->ArgName("limited")->Arg(0)->Arg(1);

void true_peak_without_pruning(benchmark::State& state) {
  const auto x = noise(kFrames / 64, 1.0f, 10.0f);
  for (auto _ : state) benchmark::DoNotOptimize(true_peak_unpruned(x.data(), static_cast<std::int64_t>(x.size())));
  state.SetItemsProcessed(state.iterations() * kFrames / 64);
}
BENCHMARK(true_peak_without_pruning);

void weighting(benchmark::State& state) {
  const auto x = noise(kFrames, 1.0f, 10.0f);
  WeightingBank bank(48000);
  for (auto _ : state) {
    for (int at = 0; at + 480 <= kFrames; at += 480) benchmark::DoNotOptimize(bank.process(x.data() + at, x.data() + at, 480));
  }
  state.SetItemsProcessed(state.iterations() * kFrames);
}
BENCHMARK(weighting);

void low_band(benchmark::State& state) {
  const auto x = noise(kFrames, 1.0f, 10.0f);
  LowBandChain chain(48000);
  std::vector<float> middle, low;
  for (auto _ : state) {
    for (int at = 0; at < kFrames; at += 8192) chain.process({x.data() + at, 8192}, middle, low);
  }
  state.SetItemsProcessed(state.iterations() * kFrames);
}
BENCHMARK(low_band);

void sums_of_a_pair(benchmark::State& state) {
  const auto x = noise(kFrames, 1.0f, 10.0f);
  for (auto _ : state) {
    for (int at = 0; at + 480 <= kFrames; at += 480) benchmark::DoNotOptimize(pair_sums(x.data() + at, x.data() + at, 480));
  }
  state.SetItemsProcessed(state.iterations() * kFrames);
}
BENCHMARK(sums_of_a_pair);

constexpr std::size_t kTransform = 8192;

void fourier(benchmark::State& state) {
  auto real = noise(kTransform, 1.0f, 10.0f), imaginary = real;
  const auto start = real;
  Fourier transform(kTransform);
  for (auto _ : state) {
    real = start, imaginary = start;
    transform.forward(real, imaginary);
    benchmark::DoNotOptimize(real.data());
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(kTransform));
}
BENCHMARK(fourier);

void fourier_of_kissfft(benchmark::State& state) {
  const auto x = noise(kTransform, 1.0f, 10.0f);
  std::vector<kiss_fft_cpx> in, out(kTransform);
  for (const float v : x) in.push_back({v, v});
  auto* config = kiss_fft_alloc(static_cast<int>(kTransform), 0, nullptr, nullptr);
  for (auto _ : state) {
    kiss_fft(config, in.data(), out.data());
    benchmark::DoNotOptimize(out.data());
  }
  kiss_fft_free(config);
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(kTransform));
}
BENCHMARK(fourier_of_kissfft);

}  // namespace

BENCHMARK_MAIN();

// A slow copy of the signal for questions about its low end: two low-pass and decimation stages, nothing left out.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace sendworthy::dsp {

/// Linear-phase low-pass FIR, then every `factor`-th sample. Streaming: any split into calls gives the same output.
class Decimator {
 public:
  /// Pass band 0 … pass_hz, at least 100 dB down from stop_hz on (Kaiser window, Kaiser's length formula).
  Decimator(double sample_rate_hz, int factor, double pass_hz, double stop_hz);
  /// Appends to `out`. Output m stands for input time m·factor − delay_frames.
  void process(std::span<const float> in, std::vector<float>& out);
  [[nodiscard]] double delay_frames() const { return (static_cast<double>(taps_.size()) - 1) / 2; }
  [[nodiscard]] int factor() const { return factor_; }

 private:
  void by_four(std::span<const float> in, std::vector<float>& out);
  void by_any(std::span<const float> in, std::vector<float>& out);

  int factor_;
  std::vector<float> taps_;      ///< length a multiple of 16, zero padded in front
  std::vector<float> buffer_;    ///< history and what is pending
  std::int64_t skip_ = 0;        ///< samples of buffer_ until the next output
  std::vector<float> phases_;    ///< by four: history as four rows of stride_, of which columns_ are filled
  std::int64_t stride_ = 0, columns_ = 0;
};

/// Chain of decimators from any rate to 3 … 6 kHz; and the rate half-way (8 … 32 kHz) for finding delays.
class LowBandChain {
 public:
  explicit LowBandChain(double sample_rate_hz);
  /// `middle` and `low` are replaced by what these samples gave.
  void process(std::span<const float> in, std::vector<float>& middle, std::vector<float>& low);
  [[nodiscard]] double middle_rate_hz() const { return middle_rate_hz_; }
  [[nodiscard]] int middle_factor() const { return middle_factor_; }
  [[nodiscard]] double low_rate_hz() const { return low_rate_hz_; }
  [[nodiscard]] int low_factor() const { return low_factor_; }
  /// How far `low` lags behind the input, in input frames.
  [[nodiscard]] double low_delay_frames() const { return low_delay_; }

 private:
  std::vector<Decimator> first_;
  std::vector<Decimator> last_;
  double middle_rate_hz_ = 0, low_rate_hz_ = 0, low_delay_ = 0;
  int middle_factor_ = 1, low_factor_ = 1;
  std::vector<float> scratch_;
};

/// For lags −range … range: how many of the valid positions have equal signs. Signs are packed 64 to a word.
/// `left` has `words` words; `right` has words + 2·(range/64) words around it, right[range/64] standing beside left[0].
/// `valid` masks positions (1 = counts). Adds to equal[2·range]; range a multiple of 64; equal[k] is lag k − range,
/// positive lag: right is late.
void sign_coincidence(const std::uint64_t* left, const std::uint64_t* right, const std::uint64_t* valid, int words,
                      int range, std::uint64_t* equal);

}  // namespace sendworthy::dsp

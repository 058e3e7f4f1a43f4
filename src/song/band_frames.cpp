#include "song/band_frames.h"

#include <algorithm>
#include <bit>
#include <numbers>
#include <utility>

#include "dsp/fourier.h"
#include "dsp/low_band.h"

namespace sendworthy::song {
namespace {

constexpr int kLowBands = 10;  // below 519 Hz

// Both in hops of 20 ms.
constexpr int kShortHops = 2, kLongHops = 4;

// Rows of samples at one rate, of which the oldest go once they are used.
struct Rows {
  explicit Rows(int channels) : rows(static_cast<std::size_t>(channels)) {}
  std::vector<std::vector<float>> rows;
  std::int64_t first = 0;  ///< number of the oldest sample that is there; silence before it where it is 0

  [[nodiscard]] std::int64_t end() const { return first + static_cast<std::int64_t>(rows[0].size()); }
  void forget_before(std::int64_t frame) {
    constexpr std::int64_t kSpare = 32768;
    if (frame - first < kSpare) return;
    for (auto& row : rows) row.erase(row.begin(), row.begin() + (frame - first));
    first = frame;
  }
};

// Power of the bands `first_band` … `last_band` − 1 in windows of one size.
class Spectra {
 public:
  Spectra(double rate, int hops, bool hann, int first_band, int last_band)
      : window_(static_cast<std::size_t>(hops * std::max<std::int64_t>(1, std::llround(rate * BandFrames::kFrame_s)))),
        fourier_(std::max(256, static_cast<int>(std::bit_ceil(window_.size())))), real_(static_cast<std::size_t>(fourier_.size())),
        imaginary_(real_.size()), lines_(real_.size() / 2 + 1), first_band_(first_band) {
    double squares = 0;
    for (std::size_t n = 0; n < window_.size(); ++n) {
      const double sine = std::sin(std::numbers::pi * (static_cast<double>(n) + 0.5) / static_cast<double>(window_.size()));
      window_[n] = static_cast<float>(hann ? sine * sine : sine);
      squares += static_cast<double>(window_[n]) * static_cast<double>(window_[n]);
    }
    scale_ = static_cast<float>(2 / (squares * fourier_.size()));  // lines k and size − k
    const double line_hz = rate / fourier_.size();
    for (int band = first_band; band < last_band; ++band) {
      edges_.push_back(BandFrames::low_edge_hz(band) / line_hz + 0.5);
      if (band == last_band - 1) edges_.push_back(BandFrames::high_edge_hz(band) / line_hz + 0.5);
    }
  }

  [[nodiscard]] std::int64_t length() const { return static_cast<std::int64_t>(window_.size()); }

  // Of the window that begins at sample `start`, which may lie before the first one but not reach beyond the last.
  void measure(const Rows& in, std::int64_t start, std::array<std::uint8_t, BandFrames::kBands>& codes) {
    std::fill(lines_.begin(), lines_.end(), 0.0f);
    for (std::size_t c = 0; c < in.rows.size(); c += 2) {
      look(in, c, start, real_);
      if (c + 1 < in.rows.size()) {
        look(in, c + 1, start, imaginary_);
      } else {
        std::fill(imaginary_.begin(), imaginary_.end(), 0.0f);
      }
      fourier_.forward(real_, imaginary_);
      dsp::add_pair_powers(real_, imaginary_, lines_);
    }
    for (std::size_t b = 0; b + 1 < edges_.size(); ++b)
      codes[b + static_cast<std::size_t>(first_band_)] = BandFrames::code_of(scale_ * between(edges_[b], edges_[b + 1]));
  }

 private:
  void look(const Rows& in, std::size_t channel, std::int64_t start, std::vector<float>& out) const {
    const auto& row = in.rows[channel];
    const auto length = static_cast<std::int64_t>(window_.size());
    const auto missing = std::clamp<std::int64_t>(in.first - start, 0, length);
    std::fill_n(out.begin(), missing, 0.0f);
    const std::span<const float> window(window_);
    dsp::multiply(window.subspan(static_cast<std::size_t>(missing)), row.data() + (start + missing - in.first), out.data() + missing);
    std::fill(out.begin() + length, out.end(), 0.0f);
  }
  // Line k reaches from k to k + 1 here; of those on an edge, the part that lies within.
  [[nodiscard]] float between(double low, double high) const {
    const auto last = static_cast<double>(lines_.size());
    low = std::min(low, last), high = std::min(high, last);
    if (high <= low) return 0;
    const auto a = static_cast<std::size_t>(low), b = static_cast<std::size_t>(high);
    const auto part = [&](std::size_t line, double share) {
      return line < lines_.size() ? lines_[line] * static_cast<float>(share) : 0.0f;
    };
    if (a == b) return part(a, high - low);
    float sum = part(a, static_cast<double>(a) + 1 - low) + part(b, high - static_cast<double>(b));
    for (std::size_t k = a + 1; k < b; ++k) sum += lines_[k];
    return sum;
  }

  std::vector<float> window_;
  dsp::Fourier fourier_;
  std::vector<float> real_, imaginary_, lines_;
  std::vector<double> edges_;  ///< in lines, each reaching half a line to both sides
  int first_band_;
  float scale_ = 0;
};

}  // namespace

std::uint8_t BandFrames::code_of(double power) {
  if (!(power > 0)) return 0;
  const float db = 3.01029996f * std::log2(static_cast<float>(power));
  const float code = (db - static_cast<float>(kLowest_db)) / static_cast<float>(kStep_db) + 1.5f;
  return code < 1 ? 0 : static_cast<std::uint8_t>(std::min(code, 255.0f));
}

const std::array<float, 256>& BandFrames::powers() {
  static const auto table = [] {
    std::array<float, 256> powers{};
    for (std::size_t c = 1; c < powers.size(); ++c)
      powers[c] = static_cast<float>(std::pow(10, db_of(static_cast<std::uint8_t>(c)) / 10));
    return powers;
  }();
  return table;
}

struct BandAnalyser::State {
  State(double sample_rate, int channels)
      : rate(sample_rate), wide(channels), low(channels), chains(static_cast<std::size_t>(channels), dsp::LowBandChain(sample_rate)),
        short_spectra(sample_rate, kShortHops, false, kLowBands, BandFrames::kBands),
        long_spectra(chains[0].low_rate_hz(), kLongHops, true, 0, kLowBands) {}

  double rate;
  Rows wide, low;
  std::vector<dsp::LowBandChain> chains;
  Spectra short_spectra, long_spectra;
  std::int64_t last_sound = -1;  ///< number of the last sample that is not 0
  std::int64_t next = 0;         ///< frame
  BandFrames out;
  std::vector<float> middle_scratch, low_scratch;

  // Sample in whose middle frame t stands.
  [[nodiscard]] double centre(std::int64_t t) const { return (static_cast<double>(t) + 0.5) * rate * BandFrames::kFrame_s; }

  void append(std::span<const float* const> rows, int frames) {
    for (std::size_t c = 0; c < wide.rows.size(); ++c) {
      const std::span<const float> in(rows[c], static_cast<std::size_t>(frames));
      wide.rows[c].insert(wide.rows[c].end(), in.begin(), in.end());
      chains[c].process(in, middle_scratch, low_scratch);
      low.rows[c].insert(low.rows[c].end(), low_scratch.begin(), low_scratch.end());
    }
  }

  void measure_ready(std::int64_t stop) {
    const double factor = chains[0].low_factor(), delay = chains[0].low_delay_frames();
    for (; next < stop; ++next) {
      const double middle = centre(next);
      const auto short_start = std::llround(middle - static_cast<double>(short_spectra.length()) / 2);
      const auto long_start = std::llround((middle + delay) / factor - static_cast<double>(long_spectra.length()) / 2);
      if (short_start + short_spectra.length() > wide.end() || long_start + long_spectra.length() > low.end()) break;
      std::array<std::uint8_t, BandFrames::kBands> codes{};
      // Most stems rest most of the time. The filters' own length is below two long windows.
      if (static_cast<double>(last_sound) >= middle - rate * BandFrames::kFrame_s * 2 * kLongHops) {
        short_spectra.measure(wide, short_start, codes);
        long_spectra.measure(low, long_start, codes);
      }
      out.add_frame(codes);
      wide.forget_before(short_start);
      low.forget_before(long_start);
    }
  }
};

BandAnalyser::BandAnalyser(double sample_rate_hz, int channels) : state_(std::make_unique<State>(sample_rate_hz, channels)) {}
BandAnalyser::~BandAnalyser() = default;
BandAnalyser::BandAnalyser(BandAnalyser&&) noexcept = default;
BandAnalyser& BandAnalyser::operator=(BandAnalyser&&) noexcept = default;

void BandAnalyser::take(std::span<const float* const> rows, int frames) {
  if (frames <= 0) return;
  const auto from = state_->wide.end();
  for (const float* row : rows) {
    for (int n = frames - 1; n >= 0 && from + n > state_->last_sound; --n) {
      if (row[n] != 0) state_->last_sound = from + n;
    }
  }
  state_->append(rows, frames);
  state_->measure_ready(INT64_MAX);
}

BandFrames BandAnalyser::finish() {
  const double hop = state_->rate * BandFrames::kFrame_s;
  const auto total = static_cast<std::int64_t>(std::ceil(static_cast<double>(state_->wide.end()) / hop - 1e-9));
  const std::vector<float> silence(static_cast<std::size_t>(hop) + 1);
  const std::vector<const float*> rows(state_->wide.rows.size(), silence.data());
  // The frames of silence that take() could have seen by itself are held back by no more than windows and filters.
  while (state_->next < total) {
    state_->append(rows, static_cast<int>(silence.size()));
    state_->measure_ready(total);
  }
  return std::move(state_->out);
}

}  // namespace sendworthy::song

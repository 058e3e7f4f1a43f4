#include "corpus.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>
#include <vector>

#include <sndfile.h>

namespace bench {
namespace {

constexpr int kRate = 48000;

struct Random {
  std::uint32_t state;
  std::uint32_t next() {
    state ^= state << 13;
    state ^= state >> 17;
    state ^= state << 5;
    return state;
  }
  double unit() { return next() * (1.0 / 4294967296.0); }
  double both() { return 2 * unit() - 1; }
};

// A decaying partial, turned by a complex rotation per sample.
struct Partial {
  double re = 0, im = 0, turn_re = 1, turn_im = 0, left = 0, right = 0;
  void strike(double hz, double amplitude, double decay_s, double pan) {
    const double w = 2 * std::numbers::pi * hz / kRate;
    const double shrink = std::exp(-1 / (decay_s * kRate));
    re = 0, im = amplitude;
    turn_re = shrink * std::cos(w), turn_im = shrink * std::sin(w);
    left = std::sqrt(0.5 * (1 - pan)), right = std::sqrt(0.5 * (1 + pan));
  }
  double step() {
    const double r = re * turn_re - im * turn_im;
    im = re * turn_im + im * turn_re;
    re = r;
    return re;
  }
};

class Song {
 public:
  explicit Song(std::uint32_t seed) : random_{seed * 2654435761u + 1} {}

  void render(float* interleaved, std::int64_t first, std::int64_t frames) {
    constexpr std::array kScale{0, 3, 5, 7, 10};
    for (std::int64_t n = 0; n < frames; ++n) {
      const std::int64_t t = first + n;
      if (t % 6000 == 0) {  // every eighth of a beat's length
        const int step = static_cast<int>(t / 6000);
        const double section = 0.25 + 0.75 * (0.5 - 0.5 * std::cos(2 * std::numbers::pi * step / 512.0));
        if (step % 4 == 0) kick_.strike(52, 0.5 * section, 0.18, 0);
        if (step % 2 == 0) bass_.strike(55 * std::exp2(kScale[random_.next() % 5] / 12.0), 0.3, 0.5, 0.02);
        for (int k = 0; k < 3; ++k) {
          auto& p = partials_[random_.next() % partials_.size()];
          const double hz = 110 * std::exp2(kScale[random_.next() % 5] / 12.0 + static_cast<double>(random_.next() % 5));
          p.strike(hz, 0.08 * section * (0.3 + random_.unit()), 0.1 + random_.unit(), 1.6 * random_.unit() - 0.8);
        }
        if (step % 8 == 4) snare_ = 0.35 * section;
        hat_ = (step % 2 == 0 ? 0.06 : 0.1) * section;
      }
      double left = 0, right = 0;
      for (auto& p : partials_) {
        const double v = p.step();
        left += p.left * v, right += p.right * v;
      }
      const double centre = kick_.step() + bass_.step() + snare_ * random_.both();
      const double air_left = hat_ * random_.both(), air_right = hat_ * random_.both();
      snare_ *= 0.9997, hat_ *= 0.9985;
      interleaved[2 * n] = static_cast<float>(left + 0.7 * centre + air_left);
      interleaved[2 * n + 1] = static_cast<float>(right + 0.7 * centre + air_right);
    }
  }

 private:
  Random random_;
  std::array<Partial, 14> partials_{};
  Partial kick_, bass_;
  double snare_ = 0, hat_ = 0;
};

struct Writer {
  SNDFILE* file;
  Writer(const std::string& path, int format, int rate, int channels) {
    SF_INFO info{};
    info.samplerate = rate;
    info.channels = channels;
    info.format = format;
    file = sf_open(path.c_str(), SFM_WRITE, &info);
    if (file == nullptr) throw std::runtime_error("cannot write " + path);
    sf_command(file, SFC_SET_CLIPPING, nullptr, SF_TRUE);
  }
  ~Writer() { sf_close(file); }
};

}  // namespace

void write_song(const std::string& path, double seconds, std::uint32_t seed, Style style) {
  Writer writer(path, SF_FORMAT_WAV | SF_FORMAT_PCM_24, kRate, 2);
  Song song(seed);
  std::vector<float> block(2 * 6000);
  const auto total = static_cast<std::int64_t>(seconds * kRate);
  for (std::int64_t at = 0; at < total; at += 6000) {
    const auto frames = std::min<std::int64_t>(6000, total - at);
    song.render(block.data(), at, frames);
    for (auto& v : block) {
      // 24 dB into a soft knee and a wall at −0.3 dBFS, as a maximiser would.
      v = style == Style::dynamic ? std::clamp(0.55f * v, -0.95f, 0.95f) : std::clamp(1.05f * std::tanh(5 * v), -0.966f, 0.966f);
    }
    if (sf_writef_float(writer.file, block.data(), frames) != frames) throw std::runtime_error("cannot write " + path);
  }
}

void write_sum(const std::vector<std::string>& from, const std::string& to, double gain, double mute_s) {
  const auto close = [](SNDFILE* file) { sf_close(file); };
  using File = std::unique_ptr<SNDFILE, decltype(close)>;
  std::vector<File> files;
  SF_INFO info{};
  for (const auto& path : from) {
    info = {};
    files.emplace_back(sf_open(path.c_str(), SFM_READ, &info), close);
    if (!files.back()) throw std::runtime_error("cannot read " + path);
  }
  const auto channels = static_cast<std::size_t>(info.channels);
  const auto mute_from = static_cast<std::int64_t>(mute_s * info.samplerate), mute_to = mute_from + info.samplerate / 2;
  const File out(sf_open(to.c_str(), SFM_WRITE, &info), close);
  if (!out) throw std::runtime_error("cannot write " + to);
  constexpr sf_count_t kFrames = 8192;
  std::vector<double> sum(kFrames * channels), one(sum.size());
  for (std::int64_t at = 0;; at += kFrames) {
    std::fill(sum.begin(), sum.end(), 0.0);
    sf_count_t most = 0;
    for (const auto& file : files) {
      const auto got = sf_readf_double(file.get(), one.data(), kFrames);
      most = std::max(most, got);
      for (std::size_t n = 0; n < static_cast<std::size_t>(got) * channels; ++n) sum[n] += gain * one[n];
    }
    if (most == 0) break;
    for (std::int64_t n = 0; n < most && mute_s >= 0; ++n) {
      if (at + n >= mute_from && at + n < mute_to) std::fill_n(sum.begin() + n * static_cast<std::int64_t>(channels), channels, 0.0);
    }
    if (sf_writef_double(out.get(), sum.data(), most) != most) throw std::runtime_error("cannot write " + to);
  }
}

void write_long_rf64(const std::string& path, double hours) {
  Writer writer(path, SF_FORMAT_RF64 | SF_FORMAT_PCM_16, 8000, 1);
  Random random{12345};
  std::vector<short> block(80000);
  const auto blocks = static_cast<int>(hours * 3600 / 10);
  for (int b = 0; b < blocks; ++b) {
    double tone = 0;
    for (std::size_t n = 0; n < block.size(); ++n) {
      tone = 0.98 * tone + 0.02 * random.both();
      block[n] = static_cast<short>(20000 * tone);
    }
    const auto count = static_cast<sf_count_t>(block.size());
    if (sf_writef_short(writer.file, block.data(), count) != count) throw std::runtime_error("cannot write " + path);
  }
}

}  // namespace bench

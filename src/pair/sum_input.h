// A mix and its parts, read side by side, and the sums of products that every step of the ladder follows from.
#pragma once

#include <sendworthy/result.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "pair/align.h"
#include "pair/reader.h"

namespace sendworthy::pair {

/// Below half of this many frames of a whole one an offset is none.
inline constexpr double kWholeLag = 0.004;

class SumInput {
 public:
  /// Errors: as audio::open_file.
  [[nodiscard]] static Result<SumInput> open(const std::string& mix, const std::vector<std::string>& parts);

  [[nodiscard]] std::size_t count() const { return parts_.size(); }
  [[nodiscard]] std::size_t channels() const { return channels_; }
  [[nodiscard]] double rate() const { return rate_; }
  [[nodiscard]] const std::string& mix_path() const { return mix_path_; }
  /// Why the parts cannot be held against the mix.
  [[nodiscard]] const std::optional<std::string>& trouble() const { return trouble_; }
  [[nodiscard]] bool mixed_rates() const;
  [[nodiscard]] Reader& mix_reader() { return *mix_; }
  [[nodiscard]] Reader& reader(std::size_t part) { return *parts_[part].reader; }
  /// Of what was read: 16-bit sound in 24-bit files has 16. Of 16 bits and less, and of lossy files, as the format says.
  [[nodiscard]] int bits(std::size_t part) const { return parts_[part].word.needed(); }
  [[nodiscard]] int mix_bits() const { return mix_word_.needed(); }
  /// In which channels of the mix a part stands; a mono part stands in all of them.
  [[nodiscard]] bool stands_in(std::size_t part, std::size_t channel) const { return parts_[part].row_of[channel] >= 0; }
  [[nodiscard]] bool mono(std::size_t part) const { return channels_ > 1 && parts_[part].reader->channels() == 1; }

  /// Frame n of the mix is held against frame n + lag of a part from now on.
  void set_lags(const std::vector<double>& lags);
  /// Exchanges left and right of a part of two channels under a mix of two.
  void cross(std::size_t part) { std::swap(parts_[part].row_of[0], parts_[part].row_of[1]); }
  /// Of a mix of two channels: half the sum and half the difference are read in place of both from now on, or no longer.
  void turn(bool on) { turned_ = on; }
  /// Reads [at, at + frames) of all; how many of them lie in the mix, 0 at its end. What lies beyond is silent.
  std::int64_t read(std::int64_t at, std::int64_t frames);
  [[nodiscard]] const float* mix(std::size_t channel) const { return turned_ ? mix_turned_[channel].data() : mix_at_[channel]; }
  /// Null where the part does not stand in that channel.
  [[nodiscard]] const float* part(std::size_t part, std::size_t channel) const;
  [[nodiscard]] std::optional<Error> error() const;

 private:
  /// How many bits samples need, of those that a file has.
  struct Word {
    int bits = 0, most = 0;
    bool silent = true;
    [[nodiscard]] int needed() const { return silent ? most : bits; }
    void open(const audio::StreamFormat& format);
    void see(const float* x, std::int64_t frames);
  };
  struct Part {
    std::optional<Reader> reader;
    Word word;
    std::vector<int> row_of;  ///< by channel of the mix; −1: none
    std::int64_t whole = 0;
    std::vector<float> taps;  ///< of the fraction; empty: none
    Rows rows;                     ///< what could not be seen where it stands
    std::vector<const float*> at;  ///< by row
    Rows turned;                   ///< middle and side
  };
  void read_part(Part& part, std::int64_t at, std::int64_t frames, std::int64_t inside);

  std::string mix_path_;
  std::optional<Reader> mix_;
  Word mix_word_;
  std::vector<Part> parts_;
  std::size_t channels_ = 0;
  double rate_ = 0;
  std::optional<std::string> trouble_;
  std::vector<const float*> mix_at_;
  bool turned_ = false;
  Rows mix_turned_;
  Rows wide_;
};

/// Products of all rows with each other, block by block: the parts, the slopes of some, the mix last.
struct Grams {
  std::size_t rows = 0, channels = 0;
  std::int64_t block = 0;   ///< frames; a tenth of a second, longer where that would be too much to keep
  std::int64_t frames = 0;  ///< of the mix
  std::vector<std::size_t> slopes;  ///< of which parts
  std::vector<double> values;       ///< blocks × channels × pairs of rows, by dsp::product_at
  std::vector<float> peaks;         ///< of the mix, by block: its greatest magnitude; 0 of plain sums

  [[nodiscard]] std::size_t pairs() const { return rows * (rows + 1) / 2; }
  [[nodiscard]] std::size_t blocks() const { return values.size() / (pairs() * channels); }
  [[nodiscard]] const double* at(std::size_t block_index, std::size_t channel) const {
    return values.data() + (block_index * channels + channel) * pairs();
  }
  /// Over all blocks: channels × pairs of rows.
  [[nodiscard]] std::vector<double> total() const;
};

/// `slopes`: parts of which the slope is a row of its own. Errors: interrupted; what reading met.
[[nodiscard]] Result<Grams> grams_of(SumInput& input, const std::vector<std::size_t>& slopes, double from_share, double share, const Hooks& hooks);

/// The parts added up as they are, and nothing else: a fifth of the work of all products.
struct PlainSums {
  Grams grams;  ///< no rows but each with itself: all other products are 0
  double mix = 0, sum = 0, product = 0;  ///< energies: of the mix, of the sum, of the product of both
  [[nodiscard]] double left() const { return std::max(0.0, mix - 2 * product + sum); }
};
/// Nothing where it was plain before the end that more is left than `hopeless` times the mix. Errors: as grams_of.
[[nodiscard]] Result<std::optional<PlainSums>> plain_sums_of(SumInput& input, double hopeless, double from_share, double share, const Hooks& hooks);

/// How sounds set in.
struct SumOnsets {
  std::vector<std::vector<float>> parts;
  std::vector<float> mix, sum, rest;  ///< of the mix, of all parts together, and of the mix without them
};
/// As the files stand, without lags. Errors: as grams_of.
[[nodiscard]] Result<SumOnsets> onsets_of(SumInput& input, const Hooks& hooks);

}  // namespace sendworthy::pair

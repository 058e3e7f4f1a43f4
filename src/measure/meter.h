// What a meter is: a state machine that takes blocks and ends in measurements. Its catalog entries stand beside it.
#pragma once

#include <atomic>
#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

#include "audio/file.h"
#include "dsp/planar.h"
#include "measure/ticks.h"

namespace sendworthy::measure {

/// A stretch of the stream, as every meter sees it. The pass owns its size; meters never see the decoder's.
struct Block {
  std::int64_t first_frame = 0;
  int frames = 0;
  int channels = 0;
  const std::int32_t* codes = nullptr;  ///< interleaved, left-justified; null for reals
  const double* reals = nullptr;        ///< interleaved, as in the file (NaN and infinities included); null for codes
  const float* rows = nullptr;          ///< one row per channel; NaN and infinities already replaced by 0
  std::int64_t stride = 0;              ///< floats from row to row
  const float* highest = nullptr;       ///< largest sample of each dsp::kSubBlock frames, per channel
  const float* lowest = nullptr;        ///< smallest
  const float* squares = nullptr;       ///< sum of squares, to some 1e-6 of it
  std::int64_t sub_stride = 0;
  std::uint32_t code_bits = 0;          ///< OR of all codes
  dsp::RealStats real_stats;

  [[nodiscard]] const float* row(int channel) const { return rows + channel * stride; }
  [[nodiscard]] const float* high(int channel) const { return highest + channel * sub_stride; }
  [[nodiscard]] const float* low(int channel) const { return lowest + channel * sub_stride; }
  [[nodiscard]] const float* square(int channel) const { return squares + channel * sub_stride; }
  [[nodiscard]] int subs() const { return (frames + dsp::kSubBlock - 1) / dsp::kSubBlock; }
};

/// One number per hop or tick of a whole file: grows in small pieces, never by copying itself into twice the room.
using Series = std::deque<float>;

/// What one encoder and bit rate made of the file.
struct LossyReading {
  struct Place {
    double peak = 0;  ///< linear
    std::int64_t frame = 0;
    int channel = 0;  ///< from 1
  };
  std::string name;                    ///< "vorbis 160"
  std::optional<std::string> problem;  ///< why nothing was read
  std::vector<double> channel_peaks;   ///< linear, true peak of the decoded sound
  std::int64_t overs = 0;              ///< decoded samples above 1 in magnitude
  std::int64_t places = 0;             ///< hops with a true peak above 1
  std::vector<Place> worst;            ///< highest first; one at least where anything sounds
  double kbit_s = 0;                   ///< as it came out, headers left out
  std::string encoder;
};

/// What the meters tell each other once the stream has ended. Series hold one number per hop (100 ms) or tick (10 ms).
struct Bus {
  std::int64_t frames = 0;
  double duration_s = 0;
  int sample_rate = 0;
  int channels = 0;
  std::vector<audio::Damage> damage;  ///< from the source

  // K-weighted sums of squares per hop, BS.1770 channel weights applied; whole hops only.
  Series k_hops;
  Series k_left, k_right, k_product;  ///< stereo only
  std::vector<bool> gated_blocks;                 ///< the 400 ms block that starts at this hop passes both gates
  std::optional<double> integrated_lufs;
  /// Mean K power of the 3 s that start at a hop, for every hop whose 3 s are whole. Added up when asked for: of a file of
  /// many hours there are many already.
  static constexpr std::size_t kShortTermHops = 30;
  [[nodiscard]] std::size_t short_terms() const { return k_hops.size() < kShortTermHops ? 0 : k_hops.size() + 1 - kShortTermHops; }
  [[nodiscard]] float short_term_power(std::size_t hop) const;

  double true_peak = 0;                           ///< linear
  Series true_peak_hops;              ///< linear, highest channel; the last hop may be short

  std::vector<double> peak;                       ///< per channel, linear, of samples
  std::vector<double> sum, square;                ///< per channel
  dsp::PairSums pair;                             ///< stereo only
  std::optional<double> noise_floor_dbfs;
  std::vector<LossyReading> lossy;                ///< only where a rule asks
  std::vector<Timeline> timelines;
  std::optional<Pictures> pictures;
};

/// Collects the measurements of one file.
class Report {
 public:
  Measurement& value(std::string_view id, Value value, const Parameters& parameters = {});
  Measurement& not_measured(std::string_view id, std::string reason, const Parameters& parameters = {});
  Measurement& not_applicable(std::string_view id, std::string reason, const Parameters& parameters = {});
  std::vector<Measurement> measurements;

 private:
  Measurement& add(std::string_view id, Outcome outcome, const Parameters& parameters);
};

struct Setup {
  const audio::StreamFormat& format;
  const audio::FileFacts& facts;
  const std::vector<MeasureRequest>& requests;
  bool timelines = false;
  bool pictures = false;
  const std::atomic<bool>* stop = nullptr;  ///< for meters that wait for something outside; may be null

  /// The fallback and every other parameter set asked for on `id`.
  [[nodiscard]] std::vector<Parameters> variants(std::string_view id) const;
};

/// Order of calls: process* publish report. `process` runs on one thread at a time, in the order of the stream.
class Meter {
 public:
  virtual ~Meter() = default;
  virtual void process(const Block& block) = 0;
  virtual void publish(Bus&) {}
  virtual void report(const Bus& bus, Report& report) = 0;
  /// False: the meter only works on what others publish, and gets no blocks.
  [[nodiscard]] virtual bool wants_blocks() const { return true; }
};

struct MeterModule {
  std::span<const CatalogEntry> entries;
  std::unique_ptr<Meter> (*create)(const Setup&);  ///< null: entries without code (not measured by this version yet)
  bool needs_sound = true;  ///< false: header, names and tags are enough, and it runs on files that cannot be decoded too
};

/// The one list.
[[nodiscard]] std::span<const MeterModule> modules();

/// A place from frames [start, end), channel from 1 or 0.
[[nodiscard]] Where place(std::int64_t start_frame, std::int64_t end_frame, int sample_rate, int channel = 0,
                          std::string note = {});
/// Like place(), around one frame.
[[nodiscard]] Where place_at(std::int64_t frame, int sample_rate, int channel = 0, std::string note = {});

/// 20·log10 and 10·log10 with the floor of an empty numerator, −144 dB.
inline constexpr double kFloorDb = -144;
[[nodiscard]] double amplitude_db(double linear);
[[nodiscard]] double power_db(double power);

/// Value at a quantile 0 … 1 by the nearest rank of EBU Tech 3342 §5: index round((n − 1)·q). Reorders `values`.
[[nodiscard]] float percentile(std::vector<float>& values, double q);

}  // namespace sendworthy::measure

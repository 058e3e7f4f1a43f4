// Silence before and after the sound.
#include <algorithm>
#include <cmath>
#include <string>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr Parameter kThreshold[] = {{.name = "threshold_dbfs", .unit = "dBFS", .fallback = -60, .lowest = -120,
                                     .highest = -20, .what = "what counts as sound"}};

constexpr CatalogEntry kEntries[] = {
    {.id = "leading_silence", .title = "Silence at the head", .group = Group::edges, .unit = Unit::seconds, .decimals = 3,
     .what = "How long it takes until the sound begins.",
     .how = "Time before the first sample of any channel above threshold_dbfs (-60), or, where the noise floor is over "
            "-66 dBFS, the first 64 frames whose RMS stands 6 dB above it. Digital zero is named in the note.",
     .source = "common practice, no source", .caveat = "A very soft start counts as silence until it passes the threshold.",
     .act = "Move the start marker of the export.", .parameters = kThreshold},
    {.id = "trailing_silence", .title = "Silence at the tail", .group = Group::edges, .unit = Unit::seconds, .decimals = 3,
     .what = "How much room is left after the last sound.",
     .how = "Time after the last sample of any channel above threshold_dbfs (-60), or, where the noise floor is over "
            "-66 dBFS, the last 64 frames whose RMS stands 6 dB above it. Digital zero is named in the note.",
     .source = "common practice, no source", .caveat = "The end of a reverb below the threshold counts as silence.",
     .act = "Move the end marker of the export; leave the reverb its room.", .parameters = kThreshold},
};

constexpr double kFloorSwitchDb = -66, kAboveFloorDb = 6;
constexpr float kLowestSorted = 0.001f;  // −60 dBFS
constexpr double kStep = 1.0233;         // 0.1 dB

class EdgeMeter final : public Meter {
 public:
  explicit EdgeMeter(const Setup& setup) : sample_rate_(setup.format.sample_rate) {
    auto all = setup.variants("leading_silence");
    for (const auto& variant : setup.variants("trailing_silence")) {
      if (std::find(all.begin(), all.end(), variant) == all.end()) all.push_back(variant);
    }
    for (const auto& parameters : all) {
      const double db = number_in(parameters, "threshold_dbfs", kThreshold[0].fallback);
      edges_.push_back({parameters, db, static_cast<float>(std::pow(10, db / 20))});
    }
    zero_.linear = 0;
  }

  void process(const Block& block) override {
    const int subs = block.subs();
    tops_.resize(static_cast<std::size_t>(subs));
    for (int s = 0; s < subs; ++s) {
      float top = 0;
      for (int c = 0; c < block.channels; ++c) top = std::max({top, block.high(c)[s], -block.low(c)[s]});
      tops_[static_cast<std::size_t>(s)] = top;
      if (top >= kLowestSorted) sort_in(block, s);
    }
    for (auto& edge : edges_) find(block, edge);
    find(block, zero_);
  }

  void report(const Bus& bus, Report& report) override {
    for (const auto& edge : edges_) {
      std::int64_t first = edge.first, last = edge.last;
      double threshold = edge.db;
      std::string note;
      if (edge.parameters.empty() && bus.noise_floor_dbfs && *bus.noise_floor_dbfs > kFloorSwitchDb) {
        threshold = *bus.noise_floor_dbfs + kAboveFloorDb;
        const double power = std::pow(10, threshold / 10);
        first = last = -1;
        for (const auto& sight : first_) {
          if (first < 0 && sight.power >= power) first = sight.frame;
        }
        for (const auto& sight : last_) {
          if (sight.power >= power) last = sight.frame;
        }
        note = "threshold " + base::fixed(threshold, 1) + " dBFS, 6 dB above the noise floor";
      }
      if (first < 0) {
        const std::string reason = "nothing rises above " + base::fixed(threshold, 0) + " dBFS";
        report.not_measured("leading_silence", reason, edge.parameters);
        report.not_measured("trailing_silence", reason, edge.parameters);
        continue;
      }
      say(report.value("leading_silence", seconds(first), edge.parameters), zero_.first, note, 0, first);
      say(report.value("trailing_silence", seconds(bus.frames - last - 1), edge.parameters), bus.frames - zero_.last - 1,
          note, last + 1, bus.frames);
    }
  }

 private:
  struct Edge {
    Parameters parameters;
    double db = 0;
    float linear = 0;
    std::int64_t first = -1, last = -1;
  };

  struct Sight {
    double power;
    std::int64_t frame;
  };

  double seconds(std::int64_t frames) const { return static_cast<double>(frames) / sample_rate_; }

  void say(Measurement& m, std::int64_t zeros, const std::string& note, std::int64_t from, std::int64_t to) {
    m.note = note;
    if (zeros > 0) m.note += (note.empty() ? "" : "; ") + ("digital zero for " + base::fixed(seconds(zeros), 3) + " s");
    if (to > from) {
      m.where.push_back(place(from, to, sample_rate_));
      m.where_total = 1;
    }
  }

  static float top_of(const Block& block, int n) {
    float top = 0;
    for (int c = 0; c < block.channels; ++c) top = std::max(top, std::abs(block.row(c)[n]));
    return top;
  }

  void find(const Block& block, Edge& edge) {
    const int subs = block.subs();
    if (edge.first < 0) {
      for (int s = 0; s < subs && edge.first < 0; ++s) {
        if (tops_[static_cast<std::size_t>(s)] <= edge.linear) continue;
        const int to = std::min((s + 1) * dsp::kSubBlock, block.frames);
        for (int n = s * dsp::kSubBlock; n < to; ++n) {
          if (top_of(block, n) > edge.linear) {
            edge.first = block.first_frame + n;
            break;
          }
        }
      }
    }
    for (int s = subs - 1; s >= 0; --s) {
      if (tops_[static_cast<std::size_t>(s)] <= edge.linear) continue;
      for (int n = std::min((s + 1) * dsp::kSubBlock, block.frames) - 1; n >= s * dsp::kSubBlock; --n) {
        if (top_of(block, n) > edge.linear) {
          edge.last = block.first_frame + n;
          return;
        }
      }
    }
  }

  // The threshold that follows the noise floor is known only at the end, so first and last sight of every level above
  // −60 dBFS is kept, in steps of up to 0.1 dB: whatever rises above all before it, and whatever nothing after it exceeds.
  // Levels are those of whole sub-blocks (RMS): the floor is an RMS value, and single samples of plain noise stand more than
  // 6 dB above theirs one time in twenty.
  void sort_in(const Block& block, int s) {
    const int from = s * dsp::kSubBlock, count = std::min(dsp::kSubBlock, block.frames - from);
    double power = 0;
    for (int c = 0; c < block.channels; ++c) power = std::max(power, static_cast<double>(block.square(c)[s]) / count);
    if (power <= 1e-6) return;
    if (first_.empty() || power > first_.back().power) {
      while (first_.size() >= 2 && power < kStep * first_[first_.size() - 2].power) first_.pop_back();
      first_.push_back({power, block.first_frame + from});
    }
    while (!last_.empty() && last_.back().power <= power) last_.pop_back();
    while (last_.size() >= 2 && last_[last_.size() - 2].power < kStep * power) last_.pop_back();
    last_.push_back({power, block.first_frame + from + count - 1});
  }

  const int sample_rate_;
  std::vector<Edge> edges_;
  Edge zero_;
  std::vector<float> tops_;
  std::vector<Sight> first_, last_;  ///< rising; falling
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<EdgeMeter>(setup); }

}  // namespace

extern const MeterModule kEdgeModule{kEntries, create};

}  // namespace sendworthy::measure

// True peak after lossy encoding: encode, decode, measure. No formula predicts it.
#include "measure/lossy.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <map>
#include <optional>
#include <string>
#include <utility>

#include "audio/lossy_trip.h"
#include "base/text.h"
#include "dsp/true_peak.h"

namespace sendworthy::measure {
namespace {

constexpr const char* kId = "true_peak_after_lossy";

constexpr std::array kMp3Steps{8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320};
// In the order of audio::LossyWish::Codec.
constexpr Choice kCodecs[] = {{"vorbis", 32, 500}, {"opus", 6, 510}, {"mp3", 8, 320, kMp3Steps}, {"aac", 16, 512}};
constexpr const char* kFallback = "vorbis 160";

constexpr Parameter kParameters[] = {{.name = "codecs", .unit = "kb/s", .what = "encoders and bit rates to try, as a list of texts",
                                      .choices = kCodecs, .fallback_words = kFallback}};

constexpr CatalogEntry kEntries[] = {
    {.id = kId, .title = "True peak after lossy encoding", .group = Group::lossy, .unit = Unit::dbtp, .decimals = 2,
     .better = Better::lower,
     .what = "How high the waveform rises once it went through a lossy encoder and was decoded again. Above 0 dBTP it clips in "
             "the listener's player.",
     .how = "The file is really encoded and decoded, in memory, by each encoder a rule names in `codecs` at its bit rate; the "
            "worst true peak counts. Samples stay floats before and behind the codec, so nothing clips on the way. Ogg Vorbis "
            "(by the quality whose nominal bit rate is the one asked for), Opus and MP3 (constant bit rate) by libsndfile, AAC by "
            "the program ffmpeg when it is installed. Encoded in pieces of 16 s, each begun 1 s early and ended 0.25 s late, and "
            "measured where the sound stood before. Places are the 100 ms in which the decoded peak exceeds 0 dBTP, worst first.",
     .source = "definition; ITU-R BS.1770-5 Annex 2 for the true peak",
     .caveat = "Another encoder, version or bit rate gives other peaks, by one or two decibels; even Opus called by another program "
               "was seen 1.8 dB apart. The note says which encoder made these, and the bit rate that came out. ffmpeg's AAC "
               "encoder turns down by itself what exceeds 0.95 of full scale, which others need not do. A service that changes the "
               "sample rate first meets another waveform. Mono and stereo only. Takes about 1 s of computing per minute of sound and encoder, so it is made only where a rule asks.",
     .act = "Lower the ceiling of the last limiter by about as much as the peak exceeds the limit, and half a decibel more: an "
            "encoder works nearly in proportion to the level, not exactly. Then check again. Less clipping and limiting helps "
            "more than a lower level.",
     .parameters = kParameters, .on_request = true},
};

constexpr int kHopsPerSecond = 10, kPieceHops = 160;
constexpr double kRunInS = 1, kRunOutS = 0.25, kShortestS = 0.1;
constexpr std::int64_t kLeastRunOut = 512;  // the true-peak meter looks ahead
constexpr float kHighest = 16;              // +24 dBFS: no encoder is made for more, and some give up on it
constexpr int kChunk = 1024;

struct Wish {
  std::string name;  ///< as in `codecs`: "vorbis 160"
  audio::LossyWish wish;
};

Wish wish_of(const std::string& name) {
  Wish wish{name, {}};
  for (std::size_t i = 0; i < std::size(kCodecs); ++i) {
    const auto& word = kCodecs[i].word;
    if (!name.starts_with(word) || name.size() < word.size() + 2) continue;
    wish.wish.codec = static_cast<audio::LossyWish::Codec>(i);
    std::from_chars(name.data() + word.size() + 1, name.data() + name.size(), wish.wish.kbit_s);
  }
  return wish;
}

std::vector<std::string> names_in(const Parameters& parameters) {
  const auto found = parameters.find("codecs");
  const auto* words = found == parameters.end() ? nullptr : std::get_if<std::string>(&found->second);
  return items_of(words == nullptr ? kFallback : *words);
}

class Lane final : public Meter {
 public:
  Lane(const Setup& setup, Wish wish)
      : format_{setup.format.sample_rate, setup.format.channels}, stop_(setup.stop),
        hop_(std::max(1, (format_.sample_rate + kHopsPerSecond / 2) / kHopsPerSecond)),
        run_in_(std::llround(kRunInS * format_.sample_rate)),
        run_out_(std::max<std::int64_t>(kLeastRunOut, std::llround(kRunOutS * format_.sample_rate))) {
    reading_.name = std::move(wish.name);
    reading_.channel_peaks.resize(static_cast<std::size_t>(format_.channels));
    auto route = audio::LossyRoute::find(wish.wish, format_, stop_);
    if (route) {
      route_ = std::move(*route);
    } else {
      reading_.problem = route.error().text;
    }
  }

  void process(const Block& block) override {
    if (reading_.problem || stopped()) return;
    if (too_high(block)) {
      give_up("samples above +24 dBFS: no encoder is made for them; correct the scale of the file first");
      return;
    }
    for (int done = 0; done < block.frames && !reading_.problem;) {
      const auto at = block.first_frame + done;
      if (at == next_from_) open(at);
      if (reading_.problem) return;
      auto border = std::min<std::int64_t>(next_from_, block.first_frame + block.frames);
      for (const auto& piece : pieces_) border = std::min(border, piece.to);
      const int count = static_cast<int>(std::min<std::int64_t>(border - at, kChunk));
      feed(block, done, count);
      done += count;
      if (!pieces_.empty() && pieces_.front().to == at + count) finish_first(Ending::cut);
    }
  }

  void publish(Bus& bus) override {
    while (!reading_.problem && !stopped() && !pieces_.empty()) {
      // A piece may have been begun early for sound that then did not come.
      if (pieces_.front().start >= bus.frames) {
        pieces_.erase(pieces_.begin());
      } else {
        finish_first(Ending::of_stream);
      }
    }
    const auto coded_s = static_cast<double>(std::max<std::int64_t>(1, coded_frames_)) / format_.sample_rate;
    reading_.kbit_s = 8e-3 * static_cast<double>(coded_bytes_) / coded_s;
    bus.lossy.push_back(std::move(reading_));
  }

  void report(const Bus&, Report&) override {}

 private:
  using Place = LossyReading::Place;
  enum class Ending { cut, of_stream };

  struct Piece {
    std::int64_t from, start, to;  ///< fed are [from, to), measured is from `start` on
    std::unique_ptr<audio::LossyTrip> trip;
  };

  [[nodiscard]] bool stopped() const { return stop_ != nullptr && stop_->load(std::memory_order_relaxed); }

  void give_up(std::string why) {
    reading_.problem = std::move(why);
    pieces_.clear();
  }

  static bool too_high(const Block& block) {
    for (int c = 0; c < block.channels; ++c) {
      for (int s = 0; s < block.subs(); ++s) {
        if (block.high(c)[s] > kHighest || block.low(c)[s] < -kHighest) return true;
      }
    }
    return false;
  }

  void open(std::int64_t at) {
    const auto start = next_start_;
    next_start_ += static_cast<std::int64_t>(kPieceHops) * hop_;
    next_from_ = std::max(at + 1, next_start_ - run_in_);
    const auto to = next_start_ + run_out_;
    auto trip = route_->start(to - at);
    if (!trip) {
      give_up(trip.error().text);
      return;
    }
    pieces_.push_back({at, start, to, std::move(*trip)});
  }

  void feed(const Block& block, int first, int count) {
    const auto channels = static_cast<std::size_t>(format_.channels);
    chunk_.resize(static_cast<std::size_t>(count) * channels);
    for (std::size_t c = 0; c < channels; ++c) {
      const float* row = block.row(static_cast<int>(c)) + first;
      for (int n = 0; n < count; ++n) chunk_[static_cast<std::size_t>(n) * channels + c] = row[n];
    }
    for (auto& piece : pieces_) {
      if (const auto ok = piece.trip->write(chunk_.data(), count); !ok) {
        give_up(ok.error().text);
        return;
      }
    }
    fed_ = block.first_frame + first + count;
  }

  void finish_first(Ending ending) {
    Piece piece = std::move(pieces_.front());
    pieces_.erase(pieces_.begin());
    const auto end = ending == Ending::cut ? piece.to - run_out_ : fed_;
    const auto channels = static_cast<std::size_t>(format_.channels);
    std::vector<dsp::TruePeakMeter> meters(channels);
    auto closed = piece.start;
    std::vector<float> row;
    bool finite = true;
    std::int64_t at = piece.from;
    const auto close_to = [&](std::int64_t until) {
      float top = 0;
      Place place;
      for (std::size_t c = 0; c < channels; ++c) {
        const auto peak = meters[c].close(until - piece.from);
        reading_.channel_peaks[c] = std::max(reading_.channel_peaks[c], static_cast<double>(peak.value));
        if (peak.value > top) top = peak.value, place = {peak.value, piece.from + peak.frame, static_cast<int>(c) + 1};
      }
      keep(place);
      closed = until;
    };
    bool led_in = piece.start == piece.from;
    const auto advance = [&] {
      const auto closable = piece.from + meters.front().closable();
      if (!led_in && closable >= piece.start) {
        for (auto& meter : meters) static_cast<void>(meter.close(piece.start - piece.from));
        led_in = true;
      }
      while (led_in && closed + hop_ <= std::min(end, closable)) close_to(closed + hop_);
    };
    const auto done = piece.trip->finish([&](const float* interleaved, std::int64_t frames) {
      row.resize(static_cast<std::size_t>(frames));
      for (std::size_t c = 0; c < channels; ++c) {
        for (std::int64_t n = 0; n < frames; ++n) {
          const float v = interleaved[static_cast<std::size_t>(n) * channels + c];
          row[static_cast<std::size_t>(n)] = v;
          if (!std::isfinite(v)) finite = false;
          if (std::abs(v) > 1 && at + n >= piece.start && at + n < end) ++reading_.overs;
        }
        if (finite) meters[c].feed(row.data(), static_cast<int>(frames));
      }
      at += frames;
      if (finite) advance();
    });
    if (!done || !finite) {
      give_up(done ? "the decoder gave numbers that are none" : done.error().text);
      return;
    }
    if (ending == Ending::of_stream) {
      for (auto& meter : meters) meter.flush();
      if (!led_in) {
        for (auto& meter : meters) static_cast<void>(meter.close(piece.start - piece.from));
        led_in = true;
      }
      while (closed < end) close_to(std::min(closed + hop_, end));
    }
    coded_bytes_ += piece.trip->coded_bytes();
    coded_frames_ += at - piece.from;
    if (reading_.encoder.empty()) reading_.encoder = piece.trip->encoder();
  }

  // The worst places, highest first; of equal ones the earlier.
  void keep(const Place& place) {
    if (place.peak > 1) ++reading_.places;
    if (place.peak <= 1 && !reading_.worst.empty() && reading_.worst.front().peak >= place.peak) return;
    const auto before = std::upper_bound(reading_.worst.begin(), reading_.worst.end(), place,
                                         [](const Place& a, const Place& b) { return a.peak > b.peak; });
    reading_.worst.insert(before, place);
    if (reading_.worst.size() > kMaxWhere) reading_.worst.pop_back();
  }

  const audio::LossyFormat format_;
  const std::atomic<bool>* stop_;
  const int hop_;
  const std::int64_t run_in_, run_out_;
  std::optional<audio::LossyRoute> route_;
  std::vector<Piece> pieces_;  ///< at most two, the earlier first
  std::vector<float> chunk_;
  std::int64_t next_from_ = 0, next_start_ = 0, fed_ = 0, coded_bytes_ = 0, coded_frames_ = 0;
  LossyReading reading_;
};

class LossyMeter final : public Meter {
 public:
  explicit LossyMeter(std::vector<Parameters> variants) : variants_(std::move(variants)) {}
  void process(const Block&) override {}
  [[nodiscard]] bool wants_blocks() const override { return false; }

  void report(const Bus& bus, Report& report) override {
    for (const auto& variant : variants_) {
      std::vector<const LossyReading*> readings;
      for (const auto& name : names_in(variant)) {
        for (const auto& reading : bus.lossy) {
          if (reading.name == name) readings.push_back(&reading);
        }
      }
      report_one(bus, readings, variant, report);
    }
  }

 private:
  static double peak_of(const LossyReading& reading) {
    return reading.channel_peaks.empty() ? 0 : *std::max_element(reading.channel_peaks.begin(), reading.channel_peaks.end());
  }

  static std::string signed_fixed(double value) { return (value > 0 ? "+" : "") + base::fixed(value, 2); }

  static std::string say(const Bus& bus, const LossyReading& reading) {
    const double peak_db = amplitude_db(peak_of(reading)), higher = peak_db - amplitude_db(bus.true_peak);
    std::string text = reading.name + " reads " + signed_fixed(peak_db) + " dBTP, " + base::fixed(std::abs(higher), 2) + " dB " +
                       (higher < 0 ? "below" : "above") + " the file itself";
    if (reading.overs > 0)
      text += ", " + std::to_string(reading.overs) + (reading.overs == 1 ? " decoded sample" : " decoded samples") + " above 0 dBFS";
    return text + " (" + base::fixed(reading.kbit_s, 0) + " kb/s came out; " + reading.encoder + ")";
  }

  static void report_one(const Bus& bus, std::vector<const LossyReading*> readings, const Parameters& variant, Report& report) {
    if (bus.true_peak <= 0) {
      report.not_measured(kId, "silent: digital zero throughout", variant);
      return;
    }
    if (bus.duration_s < kShortestS) {
      report.not_measured(kId, "shorter than " + base::fixed(kShortestS, 1) + " s: too little for an encoder", variant);
      return;
    }
    std::stable_sort(readings.begin(), readings.end(), [](const LossyReading* a, const LossyReading* b) {
      return peak_of(*a) > peak_of(*b);
    });
    std::string problems, read;
    for (const auto* reading : readings) {
      if (reading->problem) {
        problems += (problems.empty() ? "" : "; ") + reading->name + ": " + *reading->problem;
      } else {
        read += (read.empty() ? "" : "; ") + say(bus, *reading);
      }
    }
    if (!problems.empty()) {
      // What could be read is said, but the worst of all is not known.
      report.not_measured(kId, problems + (read.empty() ? "" : "; " + read), variant);
      return;
    }
    const auto& worst = *readings.front();
    auto& m = report.value(kId, amplitude_db(peak_of(worst)), variant);
    m.note = read;
    if (worst.channel_peaks.size() > 1) {
      for (const double peak : worst.channel_peaks) m.channels.push_back(peak > 0 ? std::optional(amplitude_db(peak)) : std::nullopt);
    }
    for (const auto& at : worst.worst) {
      if (at.peak <= 1 && !m.where.empty()) break;
      m.where.push_back(place_at(at.frame, bus.sample_rate, bus.channels > 1 ? at.channel : 0,
                                 signed_fixed(amplitude_db(at.peak)) + " dBTP, " + worst.name));
    }
    m.where_total = std::max(worst.places, std::ssize(m.where));
  }

  const std::vector<Parameters> variants_;
};

std::vector<Parameters> asked(const std::vector<MeasureRequest>& requests) {
  std::vector<Parameters> list;
  for (const auto& request : requests) {
    if (request.id == kId && std::find(list.begin(), list.end(), request.parameters) == list.end())
      list.push_back(request.parameters);
  }
  return list;
}

std::unique_ptr<Meter> create(const Setup& setup) {
  auto variants = asked(setup.requests);
  if (variants.empty()) return nullptr;
  return std::make_unique<LossyMeter>(std::move(variants));
}

}  // namespace

std::vector<std::unique_ptr<Meter>> lossy_lanes(const Setup& setup) {
  std::vector<std::string> names;
  for (const auto& variant : asked(setup.requests)) {
    for (auto& name : names_in(variant)) {
      if (std::find(names.begin(), names.end(), name) == names.end()) names.push_back(std::move(name));
    }
  }
  std::vector<std::unique_ptr<Meter>> lanes;
  for (auto& name : names) lanes.push_back(std::make_unique<Lane>(setup, wish_of(name)));
  return lanes;
}

bool asks_for_a_program(const std::vector<MeasureRequest>& requests) {
  for (const auto& variant : asked(requests)) {
    for (const auto& name : names_in(variant)) {
      if (wish_of(name).wish.codec == audio::LossyWish::Codec::aac) return true;
    }
  }
  return false;
}

extern const MeterModule kLossyModule{kEntries, create};

}  // namespace sendworthy::measure

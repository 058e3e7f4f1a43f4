#include "measure/pass.h"

#include <algorithm>
#include <exception>
#include <memory>
#include <mutex>
#include <set>
#include <string>
#include <utility>

#include "base/text.h"
#include "measure/digest.h"
#include "measure/lossy.h"
#include "measure/meter.h"
#include "measure/pictures.h"
#include "measure/second_meter.h"
#include "measure/timelines.h"

namespace sendworthy::measure {
namespace {

// Frames per block: small enough that one block stays in the second-level cache while every meter reads it.
int block_frames(int channels) { return std::clamp(16384 / channels / dsp::kSubBlock, 4, 128) * dsp::kSubBlock; }

// One decoded block with all that the meters share about it.
struct Slot {
  std::vector<std::int32_t> codes;
  std::vector<double> reals;
  std::vector<float> rows, highest, lowest, squares;
  Block block;
};

/// The file's lanes: decoding, and one per meter. Each lane goes through the blocks in order, on any thread, so results
/// do not depend on how many threads there are.
class Lanes final : public Shared {
 public:
  Lanes(audio::Source& source, std::vector<std::unique_ptr<Meter>>& meters, const PassOptions& options, int threads)
      : source_(source), options_(options), format_(source.format()), frames_(block_frames(format_.channels)) {
    for (auto& meter : meters) {
      if (meter->wants_blocks()) lanes_.push_back({meter.get()});
    }
    slots_.resize(threads > 1 ? 8 : 2);
    ahead_ = threads > 1 ? 4 : 1;
    const auto samples = static_cast<std::size_t>(frames_) * static_cast<std::size_t>(format_.channels);
    const auto subs = static_cast<std::size_t>(frames_ / dsp::kSubBlock) * static_cast<std::size_t>(format_.channels);
    for (auto& slot : slots_) {
      if (format_.kind == audio::SampleKind::integer) slot.codes.resize(samples);
      if (format_.kind == audio::SampleKind::real) slot.reals.resize(samples);
      slot.rows.resize(samples);
      slot.highest.resize(subs);
      slot.lowest.resize(subs);
      slot.squares.resize(subs);
    }
  }

  Step step() noexcept override {
    std::unique_lock lock(mutex_);
    if (problem_) return idle() ? Step::finished : Step::nothing_to_do;
    const auto oldest = slowest();
    const bool may_decode = !decoding_ && !ended_ && decoded_ - oldest < static_cast<std::int64_t>(slots_.size());
    if (may_decode && decoded_ - oldest < ahead_) return decode(lock);
    Lane* next = nullptr;
    for (auto& lane : lanes_) {
      if (!lane.busy && lane.at < decoded_ && (next == nullptr || lane.at < next->at)) next = &lane;
    }
    if (next != nullptr) {
      next->busy = true;
      const Block& block = slots_[static_cast<std::size_t>(next->at) % slots_.size()].block;
      lock.unlock();
      const auto problem = caught([&] { next->meter->process(block); });
      lock.lock();
      next->busy = false;
      if (problem) give_up(problem);
      ++next->at;
      return Step::did_work;
    }
    if (may_decode) return decode(lock);
    return ended_ && oldest == decoded_ ? Step::finished : Step::nothing_to_do;
  }

  [[nodiscard]] std::int64_t frames() const { return total_frames_; }
  /// What a lane threw, such as running out of memory; the pass then ended early. A step itself never throws: it may run on
  /// a thread that has no business with this file.
  [[nodiscard]] std::exception_ptr problem() const { return problem_; }
  [[nodiscard]] bool interrupted() const { return interrupted_; }

 private:
  struct Lane {
    Meter* meter;
    std::int64_t at = 0;
    bool busy = false;
  };

  template <class F>
  static std::exception_ptr caught(F f) {
    try {
      f();
    } catch (...) {
      return std::current_exception();
    }
    return nullptr;
  }
  void give_up(std::exception_ptr problem) {
    if (!problem_) problem_ = std::move(problem);
    ended_ = true;
  }
  [[nodiscard]] bool idle() const {
    return !decoding_ && std::none_of(lanes_.begin(), lanes_.end(), [](const Lane& lane) { return lane.busy; });
  }

  std::int64_t slowest() const {
    std::int64_t at = decoded_;
    for (const auto& lane : lanes_) at = std::min(at, lane.at);
    return at;
  }

  Step decode(std::unique_lock<std::mutex>& lock) {
    decoding_ = true;
    Slot& slot = slots_[static_cast<std::size_t>(decoded_) % slots_.size()];
    lock.unlock();
    const bool stopped = options_.stop != nullptr && options_.stop->load(std::memory_order_relaxed);
    int got = 0;
    const auto problem = caught([&] {
      got = stopped ? 0 : fill(slot);
      const auto expected = source_.expected_frames();
      if (got > 0 && options_.progress && decoded_ % 16 == 0 && expected && *expected > 0)
        options_.progress(std::min(1.0, static_cast<double>(total_frames_) / static_cast<double>(*expected)));
    });
    lock.lock();
    decoding_ = false;
    if (problem) {
      give_up(problem);
      return Step::did_work;
    }
    interrupted_ = interrupted_ || stopped;
    if (got > 0) {
      ++decoded_;
    } else {
      ended_ = true;
    }
    return Step::did_work;
  }

  int fill(Slot& slot) {
    int got = 0;
    const bool integer = format_.kind == audio::SampleKind::integer;
    while (got < frames_) {
      const auto offset = static_cast<std::int64_t>(got) * format_.channels;
      const auto n = integer ? source_.read_codes(slot.codes.data() + offset, frames_ - got)
                             : source_.read_reals(slot.reals.data() + offset, frames_ - got);
      if (n <= 0) break;
      got += static_cast<int>(n);
    }
    if (got == 0) return 0;
    Block& block = slot.block;
    block.first_frame = total_frames_;
    block.frames = got;
    block.channels = format_.channels;
    block.codes = integer ? slot.codes.data() : nullptr;
    block.reals = integer ? nullptr : slot.reals.data();
    block.rows = slot.rows.data();
    block.stride = frames_;
    block.highest = slot.highest.data();
    block.lowest = slot.lowest.data();
    block.squares = slot.squares.data();
    block.sub_stride = frames_ / dsp::kSubBlock;
    if (integer) {
      block.code_bits = dsp::split_codes(block.codes, got, block.channels, slot.rows.data(), block.stride);
    } else {
      block.real_stats = dsp::split_reals(block.reals, got, block.channels, slot.rows.data(), block.stride);
    }
    for (int c = 0; c < block.channels; ++c) {
      const auto at = c * block.sub_stride;
      dsp::sub_extremes(block.row(c), got, slot.highest.data() + at, slot.lowest.data() + at, slot.squares.data() + at);
    }
    total_frames_ += got;
    return got;
  }

  audio::Source& source_;
  const PassOptions& options_;
  const audio::StreamFormat format_;
  const int frames_;
  std::vector<Lane> lanes_;
  std::vector<Slot> slots_;
  std::int64_t ahead_ = 1;

  std::mutex mutex_;
  std::int64_t decoded_ = 0, total_frames_ = 0;
  bool decoding_ = false, ended_ = false, interrupted_ = false;
  std::exception_ptr problem_;
};

bool wanted(const MeterModule& module, const PassOptions& options) {
  if (options.only.empty()) return true;
  return std::ranges::any_of(module.entries, [&](const CatalogEntry& entry) {
    return std::ranges::find(options.only, entry.id) != options.only.end();
  });
}

void sort_by_key(std::vector<Measurement>& measurements) {
  std::sort(measurements.begin(), measurements.end(), [](const Measurement& a, const Measurement& b) { return a.key < b.key; });
}

// Header, names and tags of a file that cannot be decoded here. All else is not measured, and none of it is left out.
PassResult without_sound(const Setup& setup, const PassOptions& options) {
  Bus bus;
  bus.sample_rate = setup.format.sample_rate;
  bus.channels = setup.format.channels;
  Report report;
  for (const auto& module : modules()) {
    if (!wanted(module, options)) continue;
    if (!module.needs_sound) {
      module.create(setup)->report(bus, report);
      continue;
    }
    for (const auto& entry : module.entries) {
      if (!entry.available) continue;
      if (!entry.on_request) report.not_measured(entry.id, setup.facts.not_decoded);
      std::set<std::string> keys;
      for (const auto& request : setup.requests) {
        if (request.id == entry.id && (entry.on_request || !request.parameters.empty()) && keys.insert(key_of(request)).second)
          report.not_measured(entry.id, setup.facts.not_decoded, request.parameters);
      }
    }
  }
  PassResult result;
  result.measurements = std::move(report.measurements);
  sort_by_key(result.measurements);
  return result;
}

}  // namespace

Result<PassResult> run_pass(audio::OpenedFile& file, const PassOptions& options, Crew& crew) {
  const auto& format = file.source->format();
  const Setup setup{format, file.facts, options.requests, options.timelines, options.pictures, options.stop};
  if (!file.facts.not_decoded.empty()) return without_sound(setup, options);
  std::vector<std::unique_ptr<Meter>> meters;
  for (const auto& module : modules()) {
    if (module.create == nullptr || !wanted(module, options)) continue;
    if (auto meter = module.create(setup)) meters.push_back(std::move(meter));
  }
  for (auto& lane : lossy_lanes(setup)) meters.push_back(std::move(lane));
  auto digest = std::make_unique<DigestMeter>(format);
  auto* digest_meter = digest.get();
  meters.push_back(std::move(digest));
  if (options.timelines) meters.push_back(std::make_unique<TimelineMeter>(format));
  if (options.pictures) meters.push_back(std::make_unique<PictureMeter>(format));
  if (options.second_meter) {
    const bool peaks = options.only.empty() || std::ranges::find(options.only, "true_peak") != options.only.end();
    meters.push_back(
        std::make_unique<SecondMeter>(format, peaks ? SecondMeter::Reads::all : SecondMeter::Reads::loudness));
  }

  Lanes lanes(*file.source, meters, options, crew.size());
  crew.push(lanes);
  if (lanes.problem()) std::rethrow_exception(lanes.problem());

  PassResult result;
  result.frames = lanes.frames();
  result.interrupted = lanes.interrupted();
  if (result.interrupted) return result;
  if (result.frames == 0) {
    const auto& damage = file.source->damage();
    const auto why = file.facts.decoder.empty() || damage.empty() ? "" : " (" + damage.front().text + ")";
    return fail(ErrorCode::no_audio, base::for_terminal(file.facts.path) + ": not one frame of audio could be decoded" + why +
                                         "; export the file again");
  }
  Bus bus;
  bus.frames = result.frames;
  bus.sample_rate = format.sample_rate;
  bus.channels = format.channels;
  bus.duration_s = static_cast<double>(result.frames) / format.sample_rate;
  bus.damage = file.source->damage();
  for (auto& meter : meters) meter->publish(bus);
  Report report;
  for (auto& meter : meters) meter->report(bus, report);
  result.measurements = std::move(report.measurements);
  sort_by_key(result.measurements);
  result.timelines = std::move(bus.timelines);
  result.pictures = std::move(bus.pictures);
  result.audio_digest = digest_meter->text(result.frames);
  return result;
}

}  // namespace sendworthy::measure

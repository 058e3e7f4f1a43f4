// What the spectrum tells of where the sound came from, and of lines that never stop: one transform for all of it.
#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

#include "base/text.h"
#include "dsp/spectrum.h"
#include "measure/holes.h"
#include "measure/meter.h"
#include "measure/pictures.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "bandwidth", .title = "Bandwidth", .group = Group::noise, .unit = Unit::hz, .decimals = 0,
     .what = "How far up the spectrum reaches.",
     .how = "A heuristic, over spectra of 0.17 s, one after the other for 10 s and one a second from there on: the level that each band of 250 Hz passes in 5 % of the spectra; the upper edge of the highest band that stands "
            "10 dB over the lowest and 6 dB over both above it; else of the highest that stands 10 dB over a flat floor (bands within 3 dB "
            "of each other for 750 Hz); else half the sample rate.",
     .source = "common practice, no source",
     .caveat = "Why it ends there is not known: dark music does so by nature, and noise of a converter can hide the end.",
     .act = "When the end is sharp and low, ask which file the sound came from, and go back to the original."},
    {.id = "lossy_source", .title = "Lossy source", .group = Group::noise, .unit = Unit::text,
     .what = "Whether the sound seems to have been through a lossy codec: none, some or strong evidence.",
     .how = "A heuristic, over the spectra of bandwidth (beyond the first 10 s one a second): those above -50 dBFS in which the level falls by 20 dB and more within "
            "500 Hz, between 10.5 and 20.6 kHz, and stays there. Where 25 % of the spectra that can show it do so at one frequency, that is some "
            "evidence. Strong needs holes as well, in up to 200 of these spectra: places of 20 ms and 180 Hz between 6 kHz and that end which fall 20 dB under what lies before, after, "
            "below and above, three of them and one in 10 000 places. Holes alone are some evidence. The note names frequency, share, drop and holes.",
     .source = "common practice, no source: encoders of 128 kbit/s end near 16 kHz, of 320 near 20 kHz, and leave out bands that they count as inaudible",
     .caveat = "A steep low-pass and an old converter end alike, without holes. Samples from a lossy library have both. Codecs that fill their holes with noise (Opus) and "
               "high bit rates leave an end alone, or no trace. Evidence, never proof.",
     .act = "Ask for the original. If a low-pass was meant, say so."},
    {.id = "upsampled_source", .title = "Upsampled source", .group = Group::noise, .unit = Unit::text,
     .what = "Whether the file seems to come from a lower sample rate: none, some or strong evidence.",
     .how = "A heuristic: the same steep end as for a lossy source in 25 % of the spectra (beyond the first 10 s one a second is read), near half of a lower rate "
            "(22.05, 24, 44.1, 48, 88.2 or 96 kHz): from 0.94 to 1.03 of it, and in files of 88.2 kHz and more, where nothing else ends there, from 0.90 to 1.06 of the half "
            "of rates from 44.1 kHz on, since converters begin early or let through what lies above. Strong from 60 % and 25 dB in the mean. "
            "Strong mirror images count too, and at 88.2 kHz and more nothing but a flat floor above 24 kHz is some evidence.",
     .source = "common practice, no source",
     .caveat = "Microphones, analogue tape and many plug-ins end there as well. Evidence, never proof.",
     .act = "Export at the rate of the session, once; ask which rate that was."},
    {.id = "imaging", .title = "Imaging", .group = Group::noise, .unit = Unit::text,
     .what = "Whether the spectrum is mirrored at half of a lower rate, as a poor rate conversion leaves it: none, some or strong evidence.",
     .how = "A heuristic: correlation of the fine structure (decibels less their mean over 17 Fourier lines) below and above half of a lower rate, "
            "mean over every fourth of the spectra of bandwidth (beyond the first 10 s one a second): strong from 0.3, some from 0.15. A spectrum counts nothing where it fits 70 % as well with the mirror 3 to 64 lines off.",
     .source = "common practice, no source",
     .caveat = "Ring modulation and folded distortion that are meant can look the same. Evidence, never proof.",
     .act = "Convert again with a better converter, from the original."},
    {.id = "steady_tones", .title = "Steady tones", .group = Group::noise, .unit = Unit::count, .better = Better::lower,
     .what = "Thin whistles above 5 kHz that go on through the whole file: screens, power supplies, computers.",
     .how = "A Fourier line counts when it stands 20 dB over those 35 to 180 Hz beside it in 10 % of the spectra (of bandwidth: beyond the first 10 s one a second; about where an ear begins to hear "
            "it through noise), there with a level above -100 dBFS that varies by less than 1 dB (standard deviation), and when it falls 6 to 9 dB "
            "below that in 5 % of all spectra at most: where music covers it, it may still be there. The note names frequency and level.",
     .source = "common practice, no source",
     .caveat = "Overtones of a note that is held through the whole file look the same: where two lines of 200 to 5000 Hz stand throughout as well, "
               "such lines are not judged. Nothing shorter than 5 s is judged: a note lasts as long.",
     .act = "Listen at the frequency named, in a pause; a narrow notch takes it out, better at its source."},
};

constexpr double kBandHz = 250, kDenseS = 10, kHopS = 1;
constexpr int kFewestBands = 8;
constexpr int kLeastStretch = 4096;  // frames
constexpr int kLevels = 200;  // whole decibels from −170
constexpr double kLowestDb = -170;
constexpr double kLoudDb = -50, kReadableDb = -100;
constexpr std::int64_t kMostSearched = 200, kFewestHoles = 3;
constexpr double kHoleShare = 1e-4;
constexpr double kWallDb = 20, kStrongWallDb = 25, kLowestWallHz = 9000, kHighestWall = 0.96;
constexpr double kLossyFromHz = 10500, kLossyToHz = 20600, kLossyBelow = 0.93;
constexpr std::int64_t kFewestReadable = 8;
constexpr double kStrongShare = 0.6, kSomeShare = 0.25;
constexpr double kOldRates[] = {22050, 24000, 44100, 48000, 88200, 96000};
constexpr double kOldFrom = 0.94, kOldTo = 1.03;
// With an octave of room above, a converter may begin early or let images through, and no codec and no converter of the
// file's own rate ends there.
constexpr double kHighRate = 88200, kRoom = 0.6, kRoomOldRate = 44100, kRoomFrom = 0.90, kRoomTo = 1.06;
constexpr double kOverFloorDb = 10, kFlatDb = 3, kEdgeDb = 6, kEmptyFloorDb = -100;
constexpr double kToneFromHz = 5000, kToneShare = 0.1, kToneSpreadDb = 1, kToneLowestDb = -100, kToneMissing = 0.05;
constexpr float kToneOver = 100;  // 20 dB
constexpr int kToneGap = 6, kToneReach = 30;
constexpr double kToneLeastS = 5;
constexpr std::int64_t kFewestClear = 4;
constexpr int kDepths = 32;  // octaves of power, the lowest below −110 dBFS
constexpr double kHeldFromHz = 200, kHeldShare = 0.9, kHeldSpreadDb = 4;
constexpr float kHeldOver = 16;  // 12 dB
constexpr int kHeldLeast = 2;
constexpr double kMirrorStrong = 0.3, kMirrorSome = 0.15, kMirrorElsewhere = 0.7;
constexpr int kMirrorEvery = 4, kMirrorMean = 8, kMirrorLeast = 64, kMirrorOwn = 3, kMirrorOff = 64;

class SpectralMeter final : public Meter {
 public:
  explicit SpectralMeter(const Setup& setup)
      : sample_rate_(setup.format.sample_rate),
        frames_(sample_rate_, setup.format.channels),
        size_(frames_.size()),
        scale_(frames_.scale()),
        bands_(static_cast<int>(sample_rate_ / 2 / kBandHz)),
        holes_(sample_rate_, std::max(size_, kLeastStretch)) {
    if (setup.pictures) {
      picture_.emplace(frames_);
    } else {
      frames_.skip_to(next_);
    }
    lines_.resize(static_cast<std::size_t>(size_ / 2 + 1)), sums_.resize(lines_.size() + 1);
    band_db_.resize(static_cast<std::size_t>(bands_)), walls_.assign(band_db_.size(), 0), drops_.assign(band_db_.size(), 0);
    counts_.assign(band_db_.size() * kLevels, 0);
    tone_count_.assign(lines_.size(), 0), tone_sum_.assign(lines_.size(), 0), tone_square_.assign(lines_.size(), 0);
    depth_.resize(lines_.size());
    depths_.assign(lines_.size() * kDepths, 0);
    for (const double rate : kOldRates) {
      const double middle = rate / 2 * size_ / sample_rate_, reach = 0.9 * std::min(middle, size_ / 2.0 - middle);
      if (rate / 2 < kHighestWall * sample_rate_ / 2 && reach >= kMirrorLeast) mirrors_.push_back({rate, static_cast<int>(std::lround(middle)), static_cast<int>(reach)});
    }
    log_.resize(lines_.size()), fine_.resize(lines_.size());
  }

  void process(const Block& block) override {
    frames_.push(block.rows, block.stride, block.frames);
    take();
  }

  void publish(Bus& bus) override {
    if (!picture_) return;
    frames_.pad();
    take();
    if (!bus.pictures) bus.pictures.emplace();
    bus.pictures->spectrum = picture_of(*picture_, bus.frames, sample_rate_);
  }

  void report(const Bus&, Report& report) override {
    if (spectra_ == 0 || bands_ < kFewestBands) {
      for (const auto& entry : kEntries)
        report.not_measured(entry.id, bands_ < kFewestBands ? "the sample rate is too low" : "shorter than 0.2 s, or silent");
      return;
    }
    bandwidth(report);
    const auto wall = strongest_wall();
    lossy(report, wall);
    upsampled(report, wall);
    mirrored(report);
    tones(report);
  }

 private:
  struct Wall {
    double hz = 0, share = 0, drop_db = 0;
  };
  struct Mirror {
    double rate;
    int line, reach;  ///< of half the rate; how many lines there are on either side
    double sum = 0;
    std::int64_t count = 0;
    [[nodiscard]] double mean() const { return sum / static_cast<double>(count); }
  };

  double hz_of(double line) const { return line * sample_rate_ / size_; }
  int line_of(double hz) const { return static_cast<int>(std::lround(hz * size_ / sample_rate_)); }

  // Frame after frame without overlap for the first ten seconds, then one a second. A picture needs every one, but
  // nothing is judged by the others.
  std::int64_t next_looked_at(std::int64_t last) const {
    const auto begins = [&](std::int64_t i) { return static_cast<double>((i - 1) * frames_.step()) / sample_rate_; };
    auto next = last + 2;
    if (begins(last) < kDenseS) return next;
    const double second = std::floor(begins(last) / kHopS) * kHopS + kHopS;
    while (begins(next) < second) ++next;
    return next;
  }

  void take() {
    while (frames_.ready()) {
      const bool looked_at = frames_.index() == next_ && (next_ + 1) * frames_.step() <= frames_.frames();
      if (looked_at && searched_ < kMostSearched && size_ >= kLeastStretch) frames_.mean(mean_);
      const auto lines = frames_.take();
      if (picture_) picture_->add(lines);
      if (looked_at) {
        std::copy(lines.begin(), lines.end(), lines_.begin());
        look();
        next_ = next_looked_at(next_);
      }
      if (!picture_) frames_.skip_to(std::max(frames_.index(), next_));
    }
  }

  void look() {
    add_up(lines_);
    const double total = 10 * std::log10(sums_.back() * scale_ + 1e-20);
    if (total < -130) return;  // digital silence
    ++spectra_;
    for (int b = 0; b < bands_; ++b) {
      const auto from = static_cast<std::size_t>(line_of(b * kBandHz)), to = static_cast<std::size_t>(line_of((b + 1) * kBandHz));
      const double db = 10 * std::log10((sums_[to] - sums_[from]) * scale_ + 1e-20);
      band_db_[static_cast<std::size_t>(b)] = db;
      const int level = std::clamp(static_cast<int>(std::floor(db - kLowestDb)), 0, kLevels - 1);
      ++counts_[static_cast<std::size_t>(b * kLevels + level)];
    }
    if (total > kLoudDb) find_wall();
    find_tones();
    if (spectra_ % kMirrorEvery == 1 && !mirrors_.empty() && total > kLoudDb) find_mirrors();
  }

  // sums_[k] becomes that of the values before k. Four at a time, so that only one addition in four waits for the last one.
  void add_up(const std::vector<float>& values) {
    sums_[0] = 0;
    const auto value = [&](std::size_t k) { return static_cast<double>(values[k]); };
    std::size_t k = 0;
    for (; k + 4 <= values.size(); k += 4) {
      const double sum = sums_[k], two = value(k) + value(k + 1);
      sums_[k + 1] = sum + value(k);
      sums_[k + 2] = sum + two;
      sums_[k + 3] = sum + (two + value(k + 2));
      sums_[k + 4] = sum + (two + (value(k + 2) + value(k + 3)));
    }
    for (; k < values.size(); ++k) sums_[k + 1] = sums_[k] + value(k);
  }

  double band(int b) const { return band_db_[static_cast<std::size_t>(b)]; }

  void find_wall() {
    // Is there anything between 10 and 11 kHz that could end?
    const int ten = static_cast<int>(10000 / kBandHz), eleven = ten + 4;
    if (bands_ <= eleven || *std::max_element(band_db_.begin() + ten, band_db_.begin() + eleven) < kReadableDb) return;
    ++readable_;
    double above = -300, best = 0;
    int at = 0;
    const int highest = std::min(bands_ - 3, static_cast<int>(kHighestWall * sample_rate_ / 2 / kBandHz));
    for (int b = bands_ - 2; b >= static_cast<int>(kLowestWallHz / kBandHz); --b) {
      above = std::max(above, band(b + 1));
      if (b > highest) continue;
      const double drop = std::min(band(b - 2), band(b - 1)) - above;
      if (drop > best) best = drop, at = b;
    }
    if (best <= kWallDb) return;
    if (!mean_.empty() && searched_ < kMostSearched) ++searched_, holes_.look(mean_, at * kBandHz);
    ++walls_[static_cast<std::size_t>(at)];
    drops_[static_cast<std::size_t>(at)] += best;
  }

  void find_tones() {
    const int middle = std::max(line_of(kToneFromHz), kToneReach + 1), to = static_cast<int>(lines_.size()) - kToneReach - 2;
    stand_out(std::max(line_of(kHeldFromHz), kToneReach + 1), std::min(middle, to), kHeldOver);
    stand_out(middle, to, kToneOver);
    // How deep each line goes, so that a gap can be told from a place where music covers the tone.
    const auto scale = static_cast<float>(scale_);
    for (int k = middle; k < to; ++k) {
      const auto n = static_cast<std::size_t>(k);
      depth_[n] = octave((lines_[n - 1] + lines_[n] + lines_[n + 1]) * scale);
    }
    for (auto n = static_cast<std::size_t>(middle); n < static_cast<std::size_t>(std::max(middle, to)); ++n) {
      auto& count = depths_[n * kDepths + static_cast<std::size_t>(depth_[n])];
      count = static_cast<std::uint16_t>(count + (count < 0xFFFF ? 1 : 0));
    }
  }

  // Whole octaves of power over 2^-37 (-111 dBFS), from the exponent of the float.
  static int octave(float power) {
    const auto exponent = static_cast<int>(std::bit_cast<std::uint32_t>(power) >> 23) - 127;
    return std::clamp(exponent + 37, 0, kDepths - 1);
  }

  // Lines that are highest among their neighbours and stand over what is beside.
  void stand_out(int from, int to, float over) {
    const int beside = 2 * (kToneReach - kToneGap + 1);
    for (int k = from; k < to; ++k) {
      const auto n = static_cast<std::size_t>(k);
      const float here = lines_[n];
      // Seldom true, and asked first: a processor foresees that, but not where a noisy line is higher than the next.
      const double around = sums_[n + kToneReach + 1] - sums_[n + kToneGap] + sums_[n - kToneGap + 1] - sums_[n - kToneReach];
      if (static_cast<double>(here) * beside < static_cast<double>(over) * around) continue;
      if (here <= lines_[n - 1] || here < lines_[n + 1]) continue;
      // A tone under a Hann window stands in three lines.
      const double db = 10 * std::log10((sums_[n + 2] - sums_[n - 1]) * scale_ + 1e-20);
      ++tone_count_[n];
      tone_sum_[n] += db, tone_square_[n] += db * db;
    }
  }

  void find_mirrors() {
    for (std::size_t k = 0; k < lines_.size(); ++k) log_[k] = std::log10(lines_[k] + 1e-20f);
    add_up(log_);
    for (std::size_t k = 0; k < lines_.size(); ++k) {
      // Less the mean over the lines round it, as far as there are any.
      const auto low = k > kMirrorMean ? k - kMirrorMean : 0, high = std::min(k + kMirrorMean, lines_.size() - 1);
      fine_[k] = log_[k] - static_cast<float>((sums_[high + 1] - sums_[low]) / static_cast<double>(high - low + 1));
    }
    for (auto& mirror : mirrors_) {
      // What lies below, seen from the mirror.
      below_.clear();
      for (int j = kToneGap; j < mirror.reach; ++j) below_.push_back(fine_[static_cast<std::size_t>(mirror.line - j)]);
      const auto like = likeness(mirror, 0);
      if (!like) continue;
      ++mirror.count;
      if (*like < kMirrorSome || !fits_elsewhere(mirror, *like)) mirror.sum += *like;
    }
  }

  // Correlation of what lies below with what lies above, the other way round and some lines off.
  std::optional<double> likeness(const Mirror& mirror, int off) const {
    const auto sums = dsp::pair_sums(below_.data(), fine_.data() + mirror.line + kToneGap + off, static_cast<int>(below_.size()));
    if (sums.left_square <= 0 || sums.right_square <= 0) return std::nullopt;
    return sums.product / std::sqrt(sums.left_square * sums.right_square);
  }
  // The overtones of one note are like themselves wherever the mirror stands; an image fits at one place alone.
  bool fits_elsewhere(const Mirror& mirror, double like) const {
    const int room = std::min(kMirrorOff, static_cast<int>(lines_.size()) - 2 - mirror.line - mirror.reach);
    for (int off = kMirrorOwn; off <= room; ++off) {
      if (std::max(likeness(mirror, off).value_or(0), likeness(mirror, -off).value_or(0)) >= kMirrorElsewhere * like) return true;
    }
    return false;
  }

  // The level that a band passes in a share of all spectra.
  double passed(int b, double share) const {
    std::int64_t seen = 0;
    for (int level = kLevels - 1; level >= 0; --level) {
      seen += counts_[static_cast<std::size_t>(b * kLevels + level)];
      if (static_cast<double>(seen) >= share * static_cast<double>(spectra_)) return kLowestDb + level + 0.5;
    }
    return kLowestDb;
  }

  // The band at which the flat floor at the top begins; bands_ where there is none.
  int floor_from() const {
    int b = bands_ - 1;
    double low = passed(b, 0.05), high = low;
    while (b > 0) {
      const double next = passed(b - 1, 0.05);
      if (std::max(high, next) - std::min(low, next) > kFlatDb) break;
      low = std::min(low, next), high = std::max(high, next), --b;
    }
    return bands_ - b >= 3 ? b : bands_;
  }

  void bandwidth(Report& report) {
    std::vector<double> levels;
    for (int b = 0; b < bands_; ++b) levels.push_back(passed(b, 0.05));
    const auto level = [&](int b) { return levels[static_cast<std::size_t>(b)]; };
    auto& m = report.value("bandwidth", sample_rate_ / 2.0);
    m.note = "up to half the sample rate";
    double floor = 0;
    for (int b = bands_ / 4; b < bands_; ++b) floor = std::min(floor, level(b));
    // The highest edge.
    for (int b = bands_ - 3; b >= 0; --b) {
      if (level(b) < floor + kOverFloorDb || level(b) - std::max(level(b + 1), level(b + 2)) < kEdgeDb) continue;
      m.outcome = Value((b + 1) * kBandHz);
      m.note = "an edge of " + base::fixed(level(b) - level(b + 2), 0) + " dB";
      return;
    }
    // No edge: where it sinks into a flat floor.
    const int flat = floor_from();
    if (flat == bands_ || flat == 0) return;
    int top = flat - 1;
    while (top >= 0 && level(top) < floor + kOverFloorDb) --top;
    m.outcome = Value((top + 1) * kBandHz);
    m.note = "sinks into a floor near " + base::fixed(floor, 0) + " dBFS in each 250 Hz";
  }

  Wall strongest_wall() const {
    Wall wall;
    for (int b = 1; b + 1 < bands_; ++b) {
      std::int64_t count = 0;
      double drop = 0;
      for (int k = b - 1; k <= b + 1; ++k) count += walls_[static_cast<std::size_t>(k)], drop += drops_[static_cast<std::size_t>(k)];
      const double share = readable_ > 0 ? static_cast<double>(count) / static_cast<double>(readable_) : 0;
      if (share > wall.share) wall = {(b + 0.5) * kBandHz, share, drop / static_cast<double>(count)};
    }
    return wall;
  }

  const Mirror* clearest_mirror() const {
    const Mirror* clearest = nullptr;
    for (const auto& mirror : mirrors_) {
      if (mirror.count >= 2 && (clearest == nullptr || mirror.mean() > clearest->mean())) clearest = &mirror;
    }
    return clearest;
  }
  static std::string mirror_grade(const Mirror& mirror) {
    return mirror.mean() >= kMirrorStrong ? "strong" : mirror.mean() >= kMirrorSome ? "some" : "none";
  }
  static std::string mirror_words(const Mirror& mirror) {
    return "mirrored at " + base::fixed(mirror.rate / 2000, 3) + " kHz, correlation " + base::fixed(mirror.mean(), 2);
  }

  static std::string grade(double share, double drop_db) {
    return share >= kStrongShare && drop_db >= kStrongWallDb ? "strong" : share >= kSomeShare ? "some" : "none";
  }
  static std::string words(const Wall& wall) {
    return "ends at " + base::fixed(wall.hz / 1000, 1) + " kHz in " + base::fixed(100 * wall.share, 0) + " % of the loud spectra, by " +
           base::fixed(wall.drop_db, 0) + " dB";
  }
  std::string unreadable() const { return "too little sound above 10 kHz to see an end"; }

  void lossy(Report& report, const Wall& wall) {
    if (sample_rate_ < 32000) {
      report.not_applicable("lossy_source", "the sample rate leaves nothing above 16 kHz");
      return;
    }
    if (readable_ < kFewestReadable) {
      report.not_measured("lossy_source", unreadable());
      return;
    }
    auto& m = report.value("lossy_source", std::string("none"));
    // A fixed low-pass has the end alone, however steep.
    const bool ends = wall.hz >= kLossyFromHz && wall.hz <= kLossyToHz && wall.hz <= kLossyBelow * sample_rate_ / 2 && wall.share >= kSomeShare;
    const bool holes = holes_.holes() >= kFewestHoles &&
                       static_cast<double>(holes_.holes()) >= kHoleShare * static_cast<double>(holes_.places());
    if (!ends && !holes) return;
    m.outcome = Value(std::string(ends && holes ? "strong" : "some"));
    if (ends) m.note = words(wall);
    if (holes) m.note += (ends ? ", with " : "") + std::to_string(holes_.holes()) + " holes in the highs below";
  }
  // Which lower rate would end here, in kHz; two where both would.
  std::string old_rates(double hz) const {
    std::string text;
    for (const double rate : kOldRates) {
      if (rate >= 0.97 * sample_rate_) continue;
      const bool room = sample_rate_ >= kHighRate && rate >= kRoomOldRate && rate <= kRoom * sample_rate_;
      if (hz < (room ? kRoomFrom : kOldFrom) * rate / 2 || hz > (room ? kRoomTo : kOldTo) * rate / 2) continue;
      text += (text.empty() ? "" : " or ") + base::fixed(rate / 1000, rate == 22050 ? 2 : 1);
    }
    return text;
  }

  void upsampled(Report& report, const Wall& wall) {
    if (sample_rate_ < 32000) {
      report.not_applicable("upsampled_source", "there is no common lower rate");
      return;
    }
    if (readable_ < kFewestReadable) {
      report.not_measured("upsampled_source", unreadable());
      return;
    }
    auto& m = report.value("upsampled_source", std::string("none"));
    const auto found = grade(wall.share, wall.drop_db), rates = old_rates(wall.hz);
    if (found != "none" && !rates.empty()) {
      m.outcome = Value(found);
      m.note = words(wall) + ", as from " + rates + " kHz";
      return;
    }
    // A poor converter leaves images in place of a wall.
    if (const auto* mirror = clearest_mirror(); mirror != nullptr && mirror->mean() >= kMirrorStrong) {
      m.outcome = Value(mirror_grade(*mirror));
      m.note = mirror_words(*mirror);
      return;
    }
    const int flat = floor_from();
    if (sample_rate_ >= kHighRate && flat > 0 && flat * kBandHz <= 24250 && passed(flat, 0.05) < kEmptyFloorDb) {
      m.outcome = Value(std::string("some"));
      m.note = "nothing but a flat floor above " + base::fixed(flat * kBandHz / 1000, 1) + " kHz";
    }
  }

  void mirrored(Report& report) {
    const auto* worst = clearest_mirror();
    if (mirrors_.empty()) {
      report.not_applicable("imaging", "there is no common lower rate");
    } else if (worst == nullptr) {
      report.not_measured("imaging", "too short, or too soft");
    } else {
      auto& m = report.value("imaging", mirror_grade(*worst));
      if (worst->mean() >= kMirrorSome) m.note = mirror_words(*worst);
    }
  }

  struct Line {
    double share = 0, clear = 0, mean_db = 0, spread_db = 0;
  };
  // The line as the peak of its neighbours; none where it is no peak.
  Line line_at(std::size_t k) const {
    Line line;
    if (tone_count_[k] < tone_count_[k - 1] || tone_count_[k] <= tone_count_[k + 1]) return line;
    double sum = 0, square = 0;
    for (auto n = k - 1; n <= k + 1; ++n) line.clear += static_cast<double>(tone_count_[n]), sum += tone_sum_[n], square += tone_square_[n];
    line.share = line.clear / static_cast<double>(spectra_);
    line.mean_db = sum / line.clear;
    line.spread_db = std::sqrt(std::max(0.0, square / line.clear - line.mean_db * line.mean_db));
    return line;
  }
  // In how many spectra the line falls 6 to 9 dB below this level.
  double missing(std::size_t k, double db) const {
    const int depth = octave(static_cast<float>(std::pow(10, db / 10)));
    std::int64_t count = 0;
    for (int i = 0; i < depth - 2; ++i) count += depths_[k * kDepths + static_cast<std::size_t>(i)];
    return static_cast<double>(count) / static_cast<double>(spectra_);
  }
  bool note_is_held() const {
    int held = 0;
    for (int k = std::max(1, line_of(kHeldFromHz)); k < std::min(line_of(kToneFromHz), static_cast<int>(lines_.size()) - 1); ++k) {
      const auto line = line_at(static_cast<std::size_t>(k));
      held += line.share >= kHeldShare && line.spread_db < kHeldSpreadDb ? 1 : 0;
    }
    return held >= kHeldLeast;
  }

  void tones(Report& report) {
    if (static_cast<double>(spectra_) * size_ < kToneLeastS * sample_rate_) {
      report.not_measured("steady_tones", "shorter than 5 s, or silent");
      return;
    }
    std::string note;
    int found = 0;
    for (auto k = static_cast<std::size_t>(std::max(1, line_of(kToneFromHz) + 1)); k + 1 < tone_count_.size(); ++k) {
      const auto line = line_at(k);
      if (line.clear < static_cast<double>(kFewestClear) || line.share < kToneShare || line.spread_db > kToneSpreadDb ||
          line.mean_db < kToneLowestDb || missing(k, line.mean_db) > kToneMissing)
        continue;
      ++found;
      if (found <= 8)
        note += (note.empty() ? "" : ", ") + base::fixed(hz_of(static_cast<double>(k)), 0) + " Hz at " + base::fixed(line.mean_db, 0) + " dBFS";
    }
    if (found > 0 && note_is_held()) {
      report.not_measured("steady_tones", "a note is held through the whole file: its overtones and a whistle look alike");
      return;
    }
    report.value("steady_tones", static_cast<double>(found)).note = note;
  }

  const int sample_rate_;
  dsp::Spectra frames_;
  const int size_;
  const double scale_;
  const int bands_;
  std::optional<dsp::BandSpectrum> picture_;
  HoleFinder holes_;
  std::vector<float> lines_, log_, fine_, below_, mean_;
  std::vector<double> sums_, band_db_, drops_, tone_sum_, tone_square_;
  std::vector<std::int64_t> walls_, counts_, tone_count_;
  std::vector<int> depth_;
  std::vector<std::uint16_t> depths_;  // by line and octave
  std::vector<Mirror> mirrors_;
  std::int64_t next_ = 1, spectra_ = 0, readable_ = 0, searched_ = 0;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<SpectralMeter>(setup); }

}  // namespace

extern const MeterModule kSpectralModule{kEntries, create};

}  // namespace sendworthy::measure

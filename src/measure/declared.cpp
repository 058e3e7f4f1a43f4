// Loudness that the file says it has, against what was measured.
#include <charconv>
#include <cmath>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "declared_loudness_error", .title = "Declared loudness error", .group = Group::level, .unit = Unit::lu, .decimals = 2,
     .what = "Loudness written in the file's own fields minus what is measured, the worst of them.",
     .how = "Compared in the field's own rounding: integrated, maximum momentary and maximum short-term loudness of bext version 2 and iXML; "
            "REPLAYGAIN_TRACK_GAIN against -18 LUFS; R128_TRACK_GAIN (1/256 dB) against -23 LUFS. Loudness range and true peak are in the note "
            "and not in the number: their meters agree less. A mono file may be declared as one channel or as two.",
     .source = "EBU Tech 3285 v2 (2011), 2.4; RFC 7845, 5.2.1 (R128_TRACK_GAIN); ReplayGain 2.0 for -18 LUFS, from memory",
     .caveat = "Gain tags of ReplayGain's first kind, marked by a reference of 89 dB, follow another measure and are left out. Two meters may "
               "differ by 0.2 LU.",
     .act = "Measure again after the last change and let the program that writes the file write the fields."},
};

std::optional<double> number_at_front(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '+')) text.remove_prefix(1);
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  static_cast<void>(end);
  if (error != std::errc() || !std::isfinite(value) || std::abs(value) > 1e5) return std::nullopt;
  return value;
}

double hundredths(double value) { return static_cast<double>(std::llround(value * 100)) / 100; }

class DeclaredMeter final : public Meter {
 public:
  explicit DeclaredMeter(const Setup& setup) : format_(setup.format), facts_(setup.facts) {}
  [[nodiscard]] bool wants_blocks() const override { return false; }
  void process(const Block&) override {}

  void report(const Bus&, Report& report) override {
    note_.clear(), unread_.clear();
    worst_.reset(), missing_.clear();
    constexpr struct {
      const char *bext, *ixml, *id;
      bool counts;
    } kFields[] = {{"LoudnessValue", "LOUDNESS_VALUE", "integrated_loudness", true},
                   {"MaxMomentaryLoudness", "MAX_MOMENTARY_LOUDNESS", "max_momentary_loudness", true},
                   {"MaxShortTermLoudness", "MAX_SHORT_TERM_LOUDNESS", "max_short_term_loudness", true},
                   {"LoudnessRange", "LOUDNESS_RANGE", "loudness_range", false},
                   {"MaxTruePeakLevel", "MAX_TRUE_PEAK_LEVEL", "true_peak", false}};
    for (const auto& text : facts_.text_fields) {
      for (const auto& field : kFields) {
        const bool here = (text.origin == "bext" && text.name == field.bext) || (text.origin == "iXML" && text.name == field.ixml);
        if (!here) continue;
        if (const auto value = number_at_front(text.value))
          compare(text.origin + " " + text.name, *value, report, field.id, field.counts, true);
        else
          unread_.push_back(text.origin + " " + text.name);
      }
    }
    gains(report);
    if (worst_) {
      report.value("declared_loudness_error", *worst_).note = fmt::format("{}", fmt::join(note_, "; "));
    } else if (!missing_.empty()) {
      report.not_measured("declared_loudness_error", missing_);
    } else if (!unread_.empty()) {
      report.not_measured("declared_loudness_error", fmt::format("{} cannot be read as a number", unread_.front()));
    } else {
      auto& m = report.not_applicable("declared_loudness_error", "the file declares no loudness");
      m.note = fmt::format("{}", fmt::join(note_, "; "));
    }
  }

 private:
  void gains(const Report& report) {
    bool first_kind = false;
    for (const auto& tag : facts_.tags) first_kind = first_kind || (tag.name == "replaygain_reference_loudness" && tag.value.starts_with("89"));
    for (const auto& tag : facts_.tags) {
      const bool replay = tag.name == "replaygain_track_gain", r128 = tag.name == "r128_track_gain";
      if (!replay && !r128) continue;
      const auto value = number_at_front(tag.value);
      if (!value) {
        unread_.push_back(tag.name + " in " + tag.origin);
      } else if (r128) {
        compare(tag.name, -23 - *value / 256, report, "integrated_loudness", true, false);
      } else if (!first_kind) {
        compare(tag.name, -18 - *value, report, "integrated_loudness", true, true);
      } else {
        note_.push_back(tag.name + " follows the older measure with a reference of 89 dB and is not compared");
      }
    }
  }

  void compare(const std::string& where, double declared, const Report& report, std::string_view id, bool counts, bool in_hundredths) {
    const auto* measurement = found(report, id);
    const auto is = measurement != nullptr ? number(measurement->outcome) : std::nullopt;
    if (!is) {
      if (counts && missing_.empty()) missing_ = fmt::format("{} is declared and cannot be compared: {}", where, reason(measurement));
      return;
    }
    const auto apart = [&](double reading) { return declared - (in_hundredths ? hundredths(reading) : reading); };
    double difference = apart(*is);
    // One channel is played by two loudspeakers, and some meters count it so.
    constexpr double kTwoChannels = 3.0103;
    const bool loudness = id != "loudness_range" && id != "true_peak";
    if (format_.channels == 1 && loudness && std::abs(apart(*is + kTwoChannels)) < std::abs(difference)) difference = apart(*is + kTwoChannels);
    note_.push_back(fmt::format("{} {}, measured {}", where, base::fixed(declared, 2), base::fixed(declared - difference, 2)));
    if (counts && (!worst_ || std::abs(difference) > std::abs(*worst_))) worst_ = difference;
  }

  static const Measurement* found(const Report& report, std::string_view key) {
    for (const auto& m : report.measurements)
      if (m.key == key) return &m;
    return nullptr;
  }
  static std::string reason(const Measurement* m) {
    const auto* missing = m != nullptr ? std::get_if<NotMeasured>(&m->outcome) : nullptr;
    return missing != nullptr ? missing->reason : "not measured";
  }

  const audio::StreamFormat format_;
  const audio::FileFacts& facts_;
  std::vector<std::string> note_, unread_;
  std::optional<double> worst_;
  std::string missing_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<DeclaredMeter>(setup); }

}  // namespace

extern const MeterModule kDeclaredModule{kEntries, create};

}  // namespace sendworthy::measure

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
            "REPLAYGAIN_TRACK_GAIN against -18 LUFS; R128_TRACK_GAIN (1/256 dB) against -23 LUFS. Loudness range and true peak have ids of their "
            "own: their meters agree less. A mono file may be declared as one channel or as two.",
     .source = "EBU Tech 3285 v2 (2011), 2.4; RFC 7845, 5.2.1 (R128_TRACK_GAIN); ReplayGain 2.0 for -18 LUFS, from memory",
     .caveat = "Gain tags of ReplayGain's first kind, marked by a reference of 89 dB, follow another measure and are left out. Two meters may "
               "differ by 0.2 LU.",
     .act = "Measure again after the last change and let the program that writes the file write the fields."},
    {.id = "declared_true_peak_error", .title = "Declared true peak error", .group = Group::level, .unit = Unit::db, .decimals = 2,
     .what = "True peak written in the file's own fields minus what is measured, the worst of them.",
     .how = "Maximum true peak level of bext version 2 and iXML, in hundredths.",
     .source = "EBU Tech 3285 v2 (2011), 2.4",
     .caveat = "Meters may read 0.2 dB too high or 0.4 dB too low (EBU Tech 3341, from memory), and a field may hold the sample peak.",
     .act = "Let the program that writes the field measure the finished file."},
    {.id = "declared_loudness_range_error", .title = "Declared loudness range error", .group = Group::level, .unit = Unit::lu, .decimals = 2,
     .what = "Loudness range written in the file's own fields minus what is measured, the worst of them.",
     .how = "Loudness range of bext version 2 and iXML, in hundredths.", .source = "EBU Tech 3285 v2 (2011), 2.4",
     .caveat = "Meters that take the loudness once a second read up to 1 LU apart from those that do it more often, and more on short files.",
     .act = "Let the program that writes the field measure the finished file."},
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
    loudness_ = {}, range_ = {}, peak_ = {};
    const struct {
      const char *bext, *ixml, *id;
      Found* found;
    } kFields[] = {{"LoudnessValue", "LOUDNESS_VALUE", "integrated_loudness", &loudness_},
                   {"MaxMomentaryLoudness", "MAX_MOMENTARY_LOUDNESS", "max_momentary_loudness", &loudness_},
                   {"MaxShortTermLoudness", "MAX_SHORT_TERM_LOUDNESS", "max_short_term_loudness", &loudness_},
                   {"LoudnessRange", "LOUDNESS_RANGE", "loudness_range", &range_},
                   {"MaxTruePeakLevel", "MAX_TRUE_PEAK_LEVEL", "true_peak", &peak_}};
    for (const auto& text : facts_.text_fields) {
      for (const auto& field : kFields) {
        const bool here = (text.origin == "bext" && text.name == field.bext) || (text.origin == "iXML" && text.name == field.ixml);
        if (!here) continue;
        if (const auto value = number_at_front(text.value))
          compare(text.origin + " " + text.name, *value, report, field.id, *field.found, true);
        else
          field.found->unread.push_back(text.origin + " " + text.name);
      }
    }
    gains(report);
    say(report, "declared_loudness_error", loudness_, "the file declares no loudness");
    say(report, "declared_true_peak_error", peak_, "the file declares no true peak");
    say(report, "declared_loudness_range_error", range_, "the file declares no loudness range");
  }

 private:
  // What was found for one id.
  struct Found {
    std::vector<std::string> note, unread;
    std::optional<double> worst;
    std::string missing;
  };

  static void say(Report& report, std::string_view id, const Found& found, const char* nothing) {
    if (found.worst) {
      report.value(id, *found.worst).note = fmt::format("{}", fmt::join(found.note, "; "));
    } else if (!found.missing.empty()) {
      report.not_measured(id, found.missing);
    } else if (!found.unread.empty()) {
      report.not_measured(id, fmt::format("{} cannot be read as a number", found.unread.front()));
    } else {
      auto& m = report.not_applicable(id, nothing);
      m.note = fmt::format("{}", fmt::join(found.note, "; "));
    }
  }

  void gains(const Report& report) {
    bool first_kind = false;
    for (const auto& tag : facts_.tags) first_kind = first_kind || (tag.name == "replaygain_reference_loudness" && tag.value.starts_with("89"));
    for (const auto& tag : facts_.tags) {
      const bool replay = tag.name == "replaygain_track_gain", r128 = tag.name == "r128_track_gain";
      if (!replay && !r128) continue;
      const auto value = number_at_front(tag.value);
      if (!value) {
        loudness_.unread.push_back(tag.name + " in " + tag.origin);
      } else if (r128) {
        compare(tag.name, -23 - *value / 256, report, "integrated_loudness", loudness_, false);
      } else if (!first_kind) {
        compare(tag.name, -18 - *value, report, "integrated_loudness", loudness_, true);
      } else {
        loudness_.note.push_back(tag.name + " follows the older measure with a reference of 89 dB and is not compared");
      }
    }
  }

  void compare(const std::string& where, double declared, const Report& report, std::string_view id, Found& found, bool in_hundredths) {
    const auto* measurement = measured(report, id);
    const auto is = measurement != nullptr ? number(measurement->outcome) : std::nullopt;
    if (!is) {
      if (found.missing.empty()) found.missing = fmt::format("{} is declared and cannot be compared: {}", where, reason(measurement));
      return;
    }
    const auto apart = [&](double reading) { return declared - (in_hundredths ? hundredths(reading) : reading); };
    double difference = apart(*is);
    // One channel is played by two loudspeakers, and some meters count it so.
    constexpr double kTwoChannels = 3.0103;
    const bool loudness = id != "loudness_range" && id != "true_peak";
    if (format_.channels == 1 && loudness && std::abs(apart(*is + kTwoChannels)) < std::abs(difference)) difference = apart(*is + kTwoChannels);
    found.note.push_back(fmt::format("{} {}, measured {}", where, base::fixed(declared, 2), base::fixed(declared - difference, 2)));
    if (!found.worst || std::abs(difference) > std::abs(*found.worst)) found.worst = difference;
  }

  static const Measurement* measured(const Report& report, std::string_view key) {
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
  Found loudness_, range_, peak_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<DeclaredMeter>(setup); }

}  // namespace

extern const MeterModule kDeclaredModule{kEntries, create};

}  // namespace sendworthy::measure

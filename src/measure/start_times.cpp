// Start times written in several places of one file, and what else bext and iXML say about the samples.
#include <charconv>
#include <cmath>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "audio/walk.h"
#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "timecode_consistency", .title = "Time code consistency", .group = Group::names, .unit = Unit::text,
     .what = "Whether the start times written in the file agree with each other and with the header.",
     .how = "\"none\" where there is no start time; \"ok\"; \"apart: …\" where the start of bext, iXML and XMP differ, each counted at the "
            "rate it is written for (XMP within one frame); \"odd: …\" where the iXML's rate or depth or the last row of the bext coding history "
            "contradicts the header, or a start lies behind midnight. The note gives the start and the frame rate.",
     .source = "EBU Tech 3285 v2 (bext); EBU R 98 (coding history); iXML specification; XMP dynamic media",
     .caveat = "Whether it is the start that was agreed is not known here. iXML is searched for its plain elements, 64 KiB of it.",
     .act = "Set the start time once, in the session, and let the export write every place."},
};

constexpr double kDayS = 86400;

template <class T>
std::optional<T> parsed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  T value{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  if constexpr (std::is_floating_point_v<T>) {
    if (!std::isfinite(value)) return std::nullopt;
  }
  return value;
}

struct FrameRate {
  std::string_view name;  ///< of XMP's timeFormat
  int nominal;
  bool pulled;            ///< by 1000/1001
  bool drop;
};
constexpr FrameRate kFrameRates[] = {
    {"23976Timecode", 24, true, false},       {"24Timecode", 24, false, false},          {"25Timecode", 25, false, false},
    {"2997DropTimecode", 30, true, true},     {"2997NonDropTimecode", 30, true, false},  {"30Timecode", 30, false, false},
    {"50Timecode", 50, false, false},         {"5994DropTimecode", 60, true, true},      {"5994NonDropTimecode", 60, true, false},
    {"60Timecode", 60, false, false},
};

// hh:mm:ss:ff → seconds by the clock on the wall and by the count of frames.
struct Timecode {
  double wall_s = 0, counted_s = 0, frame_s = 0;
};
std::optional<Timecode> timecode(std::string_view value, std::string_view format) {
  if (value.size() != 11) return std::nullopt;
  int fields[4];
  for (std::size_t i = 0; i < 4; ++i) {
    const auto field = parsed<int>(value.substr(i * 3, 2));
    if (!field || *field < 0) return std::nullopt;
    fields[i] = *field;
  }
  for (const auto& rate : kFrameRates) {
    if (rate.name != format) continue;
    const int minutes = fields[0] * 60 + fields[1];
    std::int64_t frames = (std::int64_t{minutes} * 60 + fields[2]) * rate.nominal + fields[3];
    // Drop frame leaves out two (of 60: four) numbers a minute, save every tenth.
    if (rate.drop) frames -= (rate.nominal / 15) * (minutes - minutes / 10);
    const double per_s = rate.pulled ? rate.nominal * 1000.0 / 1001 : rate.nominal;
    return Timecode{minutes * 60.0 + fields[2] + static_cast<double>(fields[3]) / rate.nominal, static_cast<double>(frames) / per_s, 1 / per_s};
  }
  return std::nullopt;
}

class StartMeter final : public Meter {
 public:
  explicit StartMeter(const Setup& setup) : format_(setup.format), facts_(setup.facts) {}
  [[nodiscard]] bool wants_blocks() const override { return false; }
  void process(const Block&) override {}

  void report(const Bus&, Report& report) override {
    const auto bext = number_in<std::uint64_t>("bext", "TimeReference");
    const auto ixml = ixml_start();
    const auto xmp = xmp_start();
    if (!ixml && facts_.ixml_cut) {
      report.not_measured("timecode_consistency", "the iXML is longer than what is read of it, and no start time was found so far");
      return;
    }
    const double rate = format_.sample_rate;
    std::vector<std::string> apart, odd, note;
    std::optional<double> start_s;
    if (bext) {
      start_s = static_cast<double>(*bext) / rate;
      note.push_back("bext starts at " + base::clock_time(*start_s));
    }
    if (ixml) {
      const double seconds = ixml->samples / ixml->rate;
      note.push_back("iXML starts at " + base::clock_time(seconds));
      if (start_s && std::abs(seconds - *start_s) > 0.6 / rate)
        apart.push_back(fmt::format("bext starts at {} (sample {}), iXML at {} (sample {} at {} Hz)", base::clock_time(*start_s), *bext,
                                    base::clock_time(seconds), base::fixed(ixml->samples, 0), base::shortest(ixml->rate)));
      if (!start_s) start_s = seconds;
    }
    if (xmp) {
      note.push_back("XMP starts at " + base::clock_time(xmp->counted_s));
      if (start_s && std::abs(xmp->counted_s - *start_s) > xmp->frame_s * 1.01 && std::abs(xmp->wall_s - *start_s) > xmp->frame_s * 1.01)
        apart.push_back(fmt::format("{} starts at {}, XMP at {}", bext ? "bext" : "iXML", base::clock_time(*start_s), base::clock_time(xmp->counted_s)));
    }
    if (start_s && *start_s >= kDayS) odd.push_back("the start lies behind midnight");
    header(odd);
    history(odd);
    if (const auto* frame_rate = text_in("iXML", "TIMECODE_RATE")) {
      const auto* flag = text_in("iXML", "TIMECODE_FLAG");
      note.push_back("frame rate " + frame_rate->substr(0, 40) + (flag != nullptr ? " " + flag->substr(0, 20) : ""));
    }
    std::string text;
    if (!apart.empty()) text = fmt::format("apart: {}", fmt::join(apart, "; "));
    if (!odd.empty()) text += fmt::format("{}odd: {}", text.empty() ? "" : "; ", fmt::join(odd, "; "));
    if (text.empty()) text = start_s || xmp ? "ok" : "none";
    report.value("timecode_consistency", text).note = fmt::format("{}", fmt::join(note, "; "));
  }

 private:
  struct Start {
    double samples = 0, rate = 0;
  };

  const std::string* text_in(std::string_view origin, std::string_view name) const {
    for (const auto& text : facts_.text_fields)
      if (text.origin == origin && text.name == name) return &text.value;
    return nullptr;
  }
  template <class T>
  std::optional<T> number_in(std::string_view origin, std::string_view name) const {
    const auto* text = text_in(origin, name);
    return text == nullptr ? std::nullopt : parsed<T>(*text);
  }

  std::optional<Start> ixml_start() const {
    const auto low = number_in<std::uint32_t>("iXML", "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO");
    const auto high = number_in<std::uint32_t>("iXML", "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI");
    if (!low && !high) return std::nullopt;
    Start start;
    start.samples = static_cast<double>(high.value_or(0)) * 4294967296.0 + low.value_or(0);
    start.rate = number_in<double>("iXML", "TIMESTAMP_SAMPLE_RATE").value_or(number_in<double>("iXML", "FILE_SAMPLE_RATE").value_or(0));
    if (!(start.rate >= 1000 && start.rate <= audio::kMaxSampleRate)) start.rate = format_.sample_rate;
    return start;
  }

  // As elements or as attributes; both are written.
  std::optional<Timecode> xmp_start() const {
    const auto* document = text_in("XMP", "document");
    const auto at = document == nullptr ? std::string::npos : document->find("xmpDM:startTimecode");
    if (at == std::string::npos) return std::nullopt;
    const auto around = std::string_view(*document).substr(at, 600);
    const auto field = [&](std::string_view name) -> std::string_view {
      const auto found = around.find(name);
      if (found == std::string_view::npos) return {};
      const auto from = around.find_first_of("\">", found);
      if (from == std::string_view::npos) return {};
      const auto to = around.find_first_of("\"<", from + 1);
      return around.substr(from + 1, to == std::string_view::npos ? 0 : to - from - 1);
    };
    return timecode(field("xmpDM:timeValue"), field("xmpDM:timeFormat"));
  }

  void header(std::vector<std::string>& odd) const {
    if (const auto rate = number_in<double>("iXML", "FILE_SAMPLE_RATE"); rate && *rate != format_.sample_rate)
      odd.push_back(fmt::format("the iXML says {} Hz, the header {}", base::shortest(*rate), format_.sample_rate));
    if (const auto bits = number_in<int>("iXML", "AUDIO_BIT_DEPTH"); bits && facts_.bit_depth && *bits != *facts_.bit_depth)
      odd.push_back(fmt::format("the iXML says {} bits, the header {}", *bits, *facts_.bit_depth));
  }

  // Each step of a file's life adds a row; the last one speaks of this file.
  void history(std::vector<std::string>& odd) const {
    const auto* text = text_in("bext", "CodingHistory");
    if (text == nullptr) return;
    std::string_view row, rest(*text);
    while (!rest.empty()) {
      const auto end = rest.find_first_of("\r\n");
      const auto line = rest.substr(0, end);
      if (line.find("A=") != std::string_view::npos) row = line;
      rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
    }
    while (!row.empty()) {
      const auto end = row.find(',');
      const auto field = row.substr(0, end);
      row = end == std::string_view::npos ? std::string_view() : row.substr(end + 1);
      if (field.size() < 3 || field[1] != '=') continue;
      const auto value = field.substr(2);
      const auto number = parsed<int>(value);
      if (field[0] == 'F' && number && *number != format_.sample_rate)
        odd.push_back(fmt::format("the coding history ends at {} Hz, the header says {}", *number, format_.sample_rate));
      if (field[0] == 'W' && number && facts_.bit_depth && *number != *facts_.bit_depth)
        odd.push_back(fmt::format("the coding history ends at {} bits, the header says {}", *number, *facts_.bit_depth));
      if (field[0] == 'M' && format_.channels > 1 && value == "mono")
        odd.push_back(fmt::format("the coding history ends in mono, the file has {} channels", format_.channels));
      if (field[0] == 'M' && format_.channels == 1 && (value == "stereo" || value == "joint-stereo" || value == "dual-mono"))
        odd.push_back(fmt::format("the coding history ends in {}, the file has one channel", value));
    }
  }

  const audio::StreamFormat format_;
  const audio::FileFacts& facts_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<StartMeter>(setup); }

}  // namespace

extern const MeterModule kStartModule{kEntries, create};

}  // namespace sendworthy::measure

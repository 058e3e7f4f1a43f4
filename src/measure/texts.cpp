// Free texts left in the file, and those among them that tell of somebody's computer or person.
#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "audio/walk.h"
#include "measure/meter.h"
#include "measure/tag_checks.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "text_fields", .title = "Text fields", .group = Group::names, .unit = Unit::list,
     .what = "Every free text left in the file, with where it stands.",
     .how = "Place, field and text of bext, INFO, iXML, XMP, axml, cue labels, ID3, APE, Vorbis comments, AIFF and CAF; numbers and whole XML "
            "documents left out. A text longer than 80 bytes is cut; a comma in it becomes a semicolon, since commas part the list. Paths, "
            "e-mail addresses and machine names are marked in brackets.",
     .source = "definition", .caveat = "At most 256 texts are read and 64 are listed; the note says how many there are.",
     .act = "Read them once before a file leaves the house."},
    {.id = "leftover_texts", .title = "Leftover texts", .group = Group::names, .unit = Unit::count, .better = Better::lower,
     .what = "Texts that tell of the computer or the person the file was made by.",
     .how = "Texts that hold a path (/Users/…, /home/…, C:\\…, \\\\server\\…, file://…, Macintosh HD:…), an e-mail address, or a name such as computers get by "
            "themselves (DESKTOP- and a random ending, something.local). Whole XML documents are searched as well.",
     .source = "common practice, no source",
     .caveat = "A contact address may be meant to be there. Names of people and other artists look like any text: see text_fields.",
     .act = "Clear the fields in the export dialog or a tag editor, or export without them."},
};

bool is_number_of_bext(const audio::TextField& text) {
  static constexpr std::string_view kNumbers[] = {"TimeReference", "Version", "UMID", "LoudnessValue", "LoudnessRange", "MaxTruePeakLevel",
                                                  "MaxMomentaryLoudness", "MaxShortTermLoudness"};
  return text.origin == "bext" && std::find(std::begin(kNumbers), std::end(kNumbers), text.name) != std::end(kNumbers);
}

class TextMeter final : public Meter {
 public:
  explicit TextMeter(const Setup& setup) : format_(setup.format), facts_(setup.facts) {}
  [[nodiscard]] bool wants_blocks() const override { return false; }
  void process(const Block&) override {}

  void report(const Bus&, Report& report) override {
    constexpr std::size_t kMostListed = 64;
    std::vector<std::string> list, traces;
    std::size_t free_texts = 0;
    bool told_in_fields = false;
    for (const auto& text : facts_.text_fields) {
      if (text.name == "document" || is_number_of_bext(text)) continue;
      const auto trace = personal_trace(text.value);
      if (!trace.empty()) {
        traces.push_back(fmt::format("{} {} holds {}: {}", text.origin, text.name, trace, shortened(text.value, 120)));
        told_in_fields = told_in_fields || text.origin == "XMP" || text.origin == "iXML" || text.origin == "axml";
      }
      if (++free_texts <= kMostListed) list.push_back(item(text, trace));
    }
    // Attributes stand in no field of their own; what a field told already is not told twice.
    for (const auto& text : facts_.text_fields) {
      if (text.name != "document" || told_in_fields) continue;
      if (const auto trace = personal_trace(text.value); !trace.empty()) traces.push_back(fmt::format("{} holds {}", text.origin, trace));
    }
    const bool cut = facts_.text_fields.size() >= audio::kMaxTexts;
    auto& fields = report.value("text_fields", fmt::format("{}", fmt::join(list, ", ")));
    if (free_texts > kMostListed) fields.note = fmt::format("{} of {}{} texts", kMostListed, cut ? "more than " : "", free_texts);
    if (cut && traces.empty()) {
      report.not_measured("leftover_texts", fmt::format("more than {} texts; those that were read hold nothing of the kind", audio::kMaxTexts));
      return;
    }
    auto& m = report.value("leftover_texts", static_cast<double>(traces.size()));
    for (const auto& text : traces) {
      if (m.where.size() == kMaxWhere) break;
      m.where.push_back(place(0, 0, format_.sample_rate, 0, text));
    }
    m.where_total = static_cast<std::int64_t>(traces.size());
    }

 private:
  static std::string item(const audio::TextField& text, const std::string& trace) {
    auto value = shortened(text.value, 80);
    if (value.size() < text.value.size()) value += "…";
    auto line = fmt::format("{} {}: {}{}", text.origin, text.name, value, trace.empty() ? "" : " [" + trace + "]");
    std::replace(line.begin(), line.end(), ',', ';');
    return line;
  }

  const audio::StreamFormat format_;
  const audio::FileFacts& facts_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<TextMeter>(setup); }

}  // namespace

extern const MeterModule kTextModule{kEntries, create, false};

}  // namespace sendworthy::measure

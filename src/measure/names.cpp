// The file's own name: what other systems refuse in it, what it promises, what it says too loosely.
#include <string>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/text.h"
#include "measure/meter.h"
#include "measure/name_checks.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "file_name", .title = "File name", .group = Group::names, .unit = Unit::text,
     .what = "The name of the file without its folders.",
     .how = "The last part of the path as given, with its ending, byte by byte.", .source = "definition",
     .caveat = "What a name must look like is the receiver's to say: a rule of your own can ask for a form with \"matches\".",
     .act = "Rename the file, before anybody has made notes by the old name."},
    {.id = "name_parts", .title = "Words of the name", .group = Group::names, .unit = Unit::list,
     .what = "The words of the name, one by one.",
     .how = "Letters and digits between other characters, in lower case; a capital behind a small letter begins a word; the ending is "
            "left out.",
     .source = "definition", .caveat = "Which words are wanted is the receiver's to say: made for rules of your own that forbid or require one.",
     .act = "Put in, or take out, the word that was agreed."},
    {.id = "name_characters", .title = "Characters of the name", .group = Group::names, .unit = Unit::text,
     .what = "Whether the name survives on every system, or what stands against it.",
     .how = "\"ok\"; \"odd: …\" for emoji, unseen characters a space, dash or point in front, and a space before the ending; else what is refused: < > : \" / \\ | ? "
            "*, control characters, bytes that are no UTF-8, a point or space at the end, and device names of Windows such as CON or "
            "LPT1. Accents written as separate characters are only noted.",
     .source = "Microsoft, Naming Files, Paths, and Namespaces; from memory for the superscript digits of COM and LPT",
     .caveat = "Only the file's own name: the folders above it stay behind. A receiver may allow less still.",
     .act = "Rename with letters, digits, dash and underscore."},
    {.id = "path_length", .title = "Path length", .group = Group::names, .unit = Unit::count, .better = Better::lower,
     .what = "How long the path is.",
     .how = "Characters of the path as it was given, counted as Windows does, in UTF-16 units: an emoji counts two.",
     .source = "Microsoft, Maximum Path Length Limitation: 260 with the closing zero",
     .caveat = "The receiver's own folders come on top, and a path given from the working folder counts from there.",
     .act = "Shorten names and folders of the delivery."},
    {.id = "name_words", .title = "Vague words in the name", .group = Group::names, .unit = Unit::text,
     .what = "Words that tell no version, or that a program made up.",
     .how = "\"none\", or the words found: anywhere mixdown, bounce, export, render, untitled, unnamed, noname, stereo out, final2; behind the "
            "title final, newest, latest, test, temp, tmp; there behind a dash or underscore new, last, real; copy as file managers write it; whole "
            "names such as Track 01, Audio 1-1 or new mix; a small number in brackets at the end. Whole words only. Version numbers such as v3, "
            "mix2 or r4 are fine.",
     .source = "common practice, no source", .caveat = "A song may be called so; \"Final\" alone is taken for one. For words of your own forbid them on name_parts.",
     .act = "Number the versions: song_mix03 tells what song_final_new does not."},
    {.id = "name_matches_header", .title = "Name against header", .group = Group::names, .unit = Unit::boolean,
     .what = "Whether the rate, depth and channels that the name promises are those of the file.",
     .how = "Read from the name: 48k24, 44.1k16, 96kHz, 24bit, 32f, 48_24 and 24-96, 44100-16, 4824 at the end; mono, stereo, 5.1 and 7.1. They "
            "count behind the title or between dashes, underscores and the like, not where they can be part of a title. Held against sample "
            "rate, bit depth, encoding and channels. A stereo file with the same on both sides may be called mono.",
     .source = "Recording Academy, Recommendations for Delivery of Recorded Music Projects, for names such as 48k24",
     .caveat = "A name that says nothing is not judged, nor what is ambiguous: \"Love 5.1\", \"Route 4816\" and \"song 24-96\" may be titles.",
     .act = "Find out which is true, the name or the file, and export again or rename."},
    {.id = "half_of_stereo", .title = "Half of a stereo pair", .group = Group::names, .unit = Unit::boolean,
     .what = "Whether this mono file is one side of a pair that should be one stereo file.",
     .how = "The name ends in .L, _R, -left or the like, the file has one channel, and its sister of the other side stands in the same "
            "folder.",
     .source = "common practice, no source",
     .caveat = "Told by name alone: neither the sister's length nor its sound is compared. Two guitars panned apart look the same.",
     .act = "Export one interleaved stereo file, unless the receiver asked for split channels."},
};

class NameMeter final : public Meter {
 public:
  explicit NameMeter(const Setup& setup) : format_(setup.format), facts_(setup.facts), name_(file_name_of(facts_.path)) {}
  [[nodiscard]] bool wants_blocks() const override { return false; }
  void process(const Block&) override {}

  void report(const Bus&, Report& report) override {
    report.value("file_name", name_);
    report.value("name_parts", fmt::format("{}", fmt::join(name_parts(name_), ", ")));
    characters(report);
    report.value("path_length", static_cast<double>(utf16_units(facts_.path)));
    const auto vague = vague_words(name_);
    report.value("name_words", vague.empty() ? std::string("none") : fmt::format("{}", fmt::join(vague, ", ")));
    claims(report);
    side(report);
  }

 private:
  void characters(Report& report) {
    const auto trouble = name_trouble(name_);
    auto text = !trouble.refused.empty() ? fmt::format("refused: {}", fmt::join(trouble.refused, "; "))
                : trouble.odd.empty()    ? std::string("ok")
                                         : std::string("odd: ");
    if (!trouble.odd.empty()) text += fmt::format("{}{}", trouble.refused.empty() ? "" : "; odd: ", fmt::join(trouble.odd, "; "));
    report.value("name_characters", std::move(text)).note = trouble.note;
  }

  void claims(Report& report) {
    const auto said = name_claims(name_, format_.lossy);
    if (!said.any()) {
      report.not_applicable("name_matches_header", "the name says nothing about rate, depth or channels");
      return;
    }
    bool right = true;
    std::vector<std::string> promised, found;
    const auto compare = [&](std::string promise, std::string is, bool same) {
      promised.push_back(std::move(promise));
      found.push_back(std::move(is));
      right = right && same;
    };
    if (said.rate_hz)
      compare(base::shortest(*said.rate_hz / 1000) + " kHz", base::shortest(format_.sample_rate / 1000.0) + " kHz",
              *said.rate_hz == format_.sample_rate);
    if (said.floating) {
      const bool floating = facts_.encoding.starts_with("float");
      compare("float", facts_.encoding, floating);
    }
    if (said.bits)
      compare(std::to_string(*said.bits) + " bits", facts_.bit_depth ? std::to_string(*facts_.bit_depth) + " bits" : "no bit depth",
              facts_.bit_depth == *said.bits);
    if (said.channels) {
      const bool mono_twice = *said.channels == 1 && format_.channels == 2 && yes(report, "dual_mono");
      compare(count_words(*said.channels), mono_twice ? "the same on both channels" : count_words(format_.channels),
              *said.channels == format_.channels || mono_twice);
    }
    report.value("name_matches_header", right).note =
        fmt::format("the name says {}; the file has {}", fmt::join(promised, ", "), fmt::join(found, ", "));
  }

  void side(Report& report) {
    if (format_.channels != 1) {
      report.not_applicable("half_of_stereo", "more than one channel");
      return;
    }
    const auto side = name_side(name_);
    if (side.side == 0) {
      report.value("half_of_stereo", false);
      return;
    }
    const bool sister = audio::file_beside(facts_.path, side.other);
    report.value("half_of_stereo", sister).note = fmt::format(
        "the name ends in a {} side; {} \"{}\" beside it", side.side == 'L' ? "left" : "right", sister ? "there is" : "there is no", side.other);
  }

  static std::string count_words(int channels) { return fmt::format("{} channel{}", channels, channels == 1 ? "" : "s"); }
  // That meter stands earlier in the list.
  static bool yes(const Report& report, std::string_view id) {
    for (const auto& m : report.measurements) {
      if (m.key != id) continue;
      const auto* value = std::get_if<Value>(&m.outcome);
      const auto* flag = value != nullptr ? std::get_if<bool>(value) : nullptr;
      return flag != nullptr && *flag;
    }
    return false;
  }

  const audio::StreamFormat format_;
  const audio::FileFacts& facts_;
  const std::string name_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<NameMeter>(setup); }

}  // namespace

extern const MeterModule kNameModule{kEntries, create, false};

}  // namespace sendworthy::measure

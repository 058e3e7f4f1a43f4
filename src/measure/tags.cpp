// What the tags say: titles and codes, and where they contradict each other.
#include <algorithm>
#include <charconv>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "audio/walk.h"
#include "measure/meter.h"
#include "measure/name_checks.h"
#include "measure/tag_checks.h"

namespace sendworthy::measure {
namespace {

constexpr std::string_view kTagHow =
    "From ID3v2, ID3v1, APE, Vorbis comments, MP4 items, LIST INFO, AIFF and CAF texts and, the ISRC only, a broadcast file's XML; the first that has it counts, empty text where none has.";
constexpr std::string_view kTagSource = "ID3v2.3 and 2.4; Vorbis comment specification; RIFF INFO";

constexpr CatalogEntry kEntries[] = {
    {.id = "isrc", .title = "ISRC", .group = Group::names, .unit = Unit::text,
     .what = "Whether the recording code is well formed, and the same wherever it stands.",
     .how = "\"ok\", \"none\", or what is wrong. In tags, a broadcast file's XML and the name: hyphens, blanks and the word ISRC taken off, "
            "then two letters, three letters or digits, seven digits. Places that differ are named. A code in a name counts only when well "
            "formed.",
     .source = "ISO 3901:2019", .caveat = "It has no check digit: a code with two digits exchanged is well formed. Whose it is is not looked up.",
     .act = "Copy the code from the list of the label or the agency; do not type it."},
    {.id = "gtin", .title = "GTIN", .group = Group::names, .unit = Unit::text,
     .what = "Whether the release code (EAN, UPC) has the right check digit.",
     .how = "\"ok\", \"none\", or what is wrong, of the tags BARCODE, UPC, EAN, EAN/UPC and GTIN: 8, 12, 13 or 14 digits, weights 3 and 1 from "
            "the right.",
     .source = "GS1 General Specifications, check digit", .caveat = "Whether the code is given out is not looked up.",
     .act = "Copy the number from the label's list."},
    {.id = "tag_title", .title = "Title tag", .group = Group::names, .unit = Unit::text, .what = "The title in the file's tags.",
     .how = kTagHow, .source = kTagSource, .caveat = "Cut after 1000 bytes. Whether it is the right title only you know.",
     .act = "Fill in the title in the export dialog or a tag editor."},
    {.id = "tag_artist", .title = "Artist tag", .group = Group::names, .unit = Unit::text, .what = "The artist in the file's tags.",
     .how = kTagHow, .source = kTagSource, .caveat = "Cut after 1000 bytes; the first of several artists. Whether it is the right one only you know.",
     .act = "Fill in the artist in the export dialog or a tag editor."},
    {.id = "tag_album", .title = "Album tag", .group = Group::names, .unit = Unit::text, .what = "The album in the file's tags.",
     .how = kTagHow, .source = kTagSource, .caveat = "Cut after 1000 bytes. Whether it is the right album only you know.",
     .act = "Fill in the album in the export dialog or a tag editor."},
    {.id = "tag_track", .title = "Track tag", .group = Group::names, .unit = Unit::text, .what = "The track number in the file's tags.",
     .how = kTagHow, .source = kTagSource, .caveat = "As it stands, \"3/9\" included; whether it is the right number only you know.", .act = "Number the tracks in the order of the release."},
    {.id = "tag_isrc", .title = "ISRC tag", .group = Group::names, .unit = Unit::text, .what = "The recording code in the file's tags.",
     .how = kTagHow, .source = kTagSource, .caveat = "As it stands; its form is judged under isrc, and whose it is nowhere.",
     .act = "Put the code into the tag the receiver reads."},
    {.id = "tag_faults", .title = "Faults of the tags", .group = Group::names, .unit = Unit::count, .better = Better::lower,
     .what = "Tags that are garbled or contradict each other.",
     .how = "Counted: a text that was UTF-8 and was taken for Latin letters, or holds a lost character, or is no UTF-8 where UTF-8 is laid "
            "down (each byte that cannot be read then stands as a lost character); and title, artist, album or track that differ between two "
            "kinds of tags in the file. Only letters and digits of ASCII are compared, of a track the number, of ID3v1 as much as fits into it.",
     .source = "common practice, no source",
     .caveat = "LIST INFO, AIFF and ID3v1 texts have no stated encoding and are not counted for that.",
     .act = "Write the tags anew with one program, and take out the old kind."},
    {.id = "tags_match_name", .title = "Tags against name", .group = Group::names, .unit = Unit::text,
     .what = "Whether title and track number of the tags tell of the song that the file's name tells of.",
     .how = "\"ok\"; \"none\" where there is nothing to compare; or what differs: a title and a name that have no word in common, shortened words "
            "and initials included, or a track number that is another than the one the name begins with. Words of versions, formats, "
            "instruments, artist and album are left out on both sides; accents count for nothing. A heuristic.",
     .source = "common practice, no source",
     .caveat = "A name may be a code, or in another language than the title; it is not judged where it holds no Latin letters.",
     .act = "See which of the two is right, and write or rename the other one."},
};

constexpr std::size_t kMostBytes = 1000;

struct Code {
  std::string value, place;
};

class TagMeter final : public Meter {
 public:
  explicit TagMeter(const Setup& setup) : format_(setup.format), facts_(setup.facts) {}
  [[nodiscard]] bool wants_blocks() const override { return false; }
  void process(const Block&) override {}

  void report(const Bus&, Report& report) override {
    isrc(report);
    gtin(report);
    for (const std::string_view name : {"title", "artist", "album", "track", "isrc"}) tag(report, name);
    faults(report);
    against_name(report);
  }

 private:
  // A list that was cut off must not prove that something is absent.
  [[nodiscard]] bool cut() const { return facts_.tags.size() >= audio::kMaxTexts; }
  static std::string cut_reason() { return fmt::format("more than {} tags, and it is not among those that were read", audio::kMaxTexts); }

  std::vector<Code> isrcs() const {
    std::vector<Code> codes;
    for (const auto& tag : facts_.tags)
      if (tag.name == "isrc") codes.push_back({tag.value, tag.origin});
    for (const auto& text : facts_.text_fields) {
      // There ISRC means "source" by the book; only what tries to be a code is taken for one.
      if (text.origin == "INFO" && text.name == "ISRC" && isrc_trouble(text.value) != "" && tries_to_be_isrc(text.value))
        codes.push_back({text.value, text.origin});
    }
    for (auto& code : isrcs_in_name(stem_of(file_name_of(facts_.path)))) codes.push_back({std::move(code), "name"});
    return codes;
  }

  static bool tries_to_be_isrc(std::string_view text) {
    const auto code = isrc_code(text);
    const auto digits = std::count_if(code.begin(), code.end(), [](char c) { return c >= '0' && c <= '9'; });
    return code.size() >= 11 && code.size() <= 13 && digits >= 5 && folded(code).size() == code.size();
  }

  void codes(Report& report, std::string_view id, const std::vector<Code>& codes, std::string (*trouble)(std::string_view),
             std::string (*plain)(std::string_view)) {
    if (codes.empty()) {
      if (cut())
        report.not_measured(id, cut_reason());
      else
        report.value(id, std::string("none"));
      return;
    }
    std::vector<std::string> wrong, places;
    bool differ = false;
    for (const auto& code : codes) {
      const auto shown = shortened(code.value, 64);
      if (auto what = trouble(code.value); !what.empty()) wrong.push_back(fmt::format("\"{}\" in {}: {}", shown, code.place, what));
      differ = differ || plain(code.value) != plain(codes.front().value);
      places.push_back(fmt::format("{} in {}", shown, code.place));
      if (places.size() == 8) break;
    }
    const auto list = fmt::format("{}", fmt::join(places, ", "));
    if (!wrong.empty()) {
      report.value(id, fmt::format("{}", fmt::join(wrong, "; ")));
    } else if (differ) {
      report.value(id, "different codes: " + list);
    } else {
      report.value(id, std::string("ok")).note = list;
    }
  }

  void isrc(Report& report) { codes(report, "isrc", isrcs(), isrc_trouble, isrc_code); }

  void gtin(Report& report) {
    std::vector<Code> found;
    for (const auto& tag : facts_.tags)  // the walk has one name for all of them
      if (tag.name == "upc") found.push_back({tag.value, tag.origin});
    codes(report, "gtin", found, gtin_trouble, gtin_code);
  }

  void tag(Report& report, std::string_view name) {
    const auto id = "tag_" + std::string(name);
    const auto first = std::find_if(facts_.tags.begin(), facts_.tags.end(), [name](const Tag& tag) { return tag.name == name; });
    if (first == facts_.tags.end()) {
      // An empty text, so that a rule that asks for one fails and one that does not care passes.
      if (cut())
        report.not_measured(id, cut_reason());
      else
        report.value(id, std::string());
      return;
    }
    auto note = "from " + first->origin;
    if (first->value.size() > kMostBytes) note += fmt::format("; cut, it has {} bytes", first->value.size());
    if (!valid_utf8(first->value)) note += "; not UTF-8, its letters beyond A to Z are guesswork";
    if (garbled(first->value)) note += "; garbled";
    report.value(id, shortened(first->value, kMostBytes)).note = note;
  }

  void against_name(Report& report) {
    const std::string name(file_name_of(facts_.path));
    std::vector<std::string> titles, others, wrong;
    std::optional<int> track;
    for (const auto& tag : facts_.tags) {
      const auto value = shortened(tag.value, kMostBytes);
      if (tag.name == "title") titles.push_back(value);
      for (const std::string_view other : {"artist", "albumartist", "album", "composer", "performer", "label"})
        if (tag.name == other) others.push_back(value);
      int number = 0;
      const auto [end, error] = std::from_chars(value.data(), value.data() + value.size(), number);
      if (tag.name == "track" && !track && error == std::errc() && (end == value.data() + value.size() || *end == '/')) track = number;
    }
    bool fits = false, compared = false;
    for (const auto& title : titles) {
      const auto answer = title_fits_name(title, name, others);
      compared = compared || answer.has_value();
      fits = fits || answer.value_or(false);
    }
    if (compared && !fits)
      wrong.push_back(fmt::format("the title \"{}\" and the name \"{}\" have no word in common", shortened(titles.front(), 60), shortened(name, 60)));
    const auto named = track_in_name(name, titles.empty() ? std::string_view() : titles.front());
    if (track && named && *track != *named) wrong.push_back(fmt::format("the track is {} in the tags and {} in the name", *track, *named));
    if (!wrong.empty())
      report.value("tags_match_name", fmt::format("{}", fmt::join(wrong, "; ")));
    else
      report.value("tags_match_name", std::string(compared || (track && named) ? "ok" : "none"));
  }

  void faults(Report& report) {
    std::vector<std::string> list;
    for (const auto& tag : facts_.tags) {
      const bool utf8_laid_down = tag.origin != "INFO" && tag.origin != "AIFF" && tag.origin != "ID3v1" && tag.origin != "bext";
      if (garbled(tag.value)) list.push_back(fmt::format("{} in {} is garbled: \"{}\"", tag.name, tag.origin, shortened(tag.value, 60)));
      if (utf8_laid_down && !valid_utf8(tag.value)) list.push_back(fmt::format("{} in {} is no UTF-8", tag.name, tag.origin));
    }
    for (const std::string_view name : {"title", "artist", "album", "track"}) contradictions(name, list);
    auto& m = report.value("tag_faults", static_cast<double>(list.size()));
    for (const auto& text : list) {
      if (m.where.size() == kMaxWhere) break;
      m.where.push_back(place(0, 0, format_.sample_rate, 0, text));
    }
    m.where_total = static_cast<std::int64_t>(list.size());
    if (facts_.tags.size() >= audio::kMaxTexts) m.note = fmt::format("only the first {} tags were read", audio::kMaxTexts);
  }

  // Kinds of tags that have no value in common.
  void contradictions(std::string_view name, std::vector<std::string>& list) const {
    std::map<std::string, std::vector<std::string>> said;
    for (const auto& tag : facts_.tags)
      if (tag.name == name) said[tag.origin].push_back(tag.value);
    if (said.size() < 2) return;
    const auto& first_origin = said.begin()->first;
    const auto& first = said.begin()->second;
    for (auto it = std::next(said.begin()); it != said.end(); ++it) {
      const bool agree = std::any_of(first.begin(), first.end(), [&](const std::string& a) {
        return std::any_of(it->second.begin(), it->second.end(), [&](const std::string& b) { return same(name, a, first_origin, b, it->first); });
      });
      if (!agree)
        list.push_back(fmt::format("{} is \"{}\" in {} and \"{}\" in {}", name, shortened(first.front(), 60), first_origin,
                                   shortened(it->second.front(), 60), it->first));
    }
  }

  static bool same(std::string_view name, const std::string& a, const std::string& a_origin, const std::string& b, const std::string& b_origin) {
    auto x = folded(a.substr(0, name == "track" ? a.find('/') : a.size())), y = folded(b.substr(0, name == "track" ? b.find('/') : b.size()));
    if (name == "track") {
      x.erase(0, x.find_first_not_of('0')), y.erase(0, y.find_first_not_of('0'));
      return x == y;
    }
    // Letters beyond ASCII are left out, one byte of ID3v1 and two of UTF-8: what is left of a cut text begins the other.
    constexpr std::size_t kRoom = 30;
    if (a_origin == "ID3v1" && a.size() + 1 >= kRoom) return y.starts_with(x);
    if (b_origin == "ID3v1" && b.size() + 1 >= kRoom) return x.starts_with(y);
    return x == y;
  }

  const audio::StreamFormat format_;
  const audio::FileFacts& facts_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<TagMeter>(setup); }

}  // namespace

extern const MeterModule kTagModule{kEntries, create, false};

}  // namespace sendworthy::measure

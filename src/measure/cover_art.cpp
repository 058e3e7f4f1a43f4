// The picture inside, as far as its header tells.
#include <algorithm>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr std::string_view kPictureSource = "ITU-T T.81 (JPEG); W3C PNG; RFC 9649 (WebP); GIF89a";

constexpr CatalogEntry kEntries[] = {
    {.id = "cover_art", .title = "Cover art", .group = Group::names, .unit = Unit::text, .what = "Kind, size and colours of the picture inside.",
     .how = "\"none\"; or format, width x height in pixels, colours (RGB, grey, CMYK, palette; transparent), square or not, from the picture's "
            "header; or \"unreadable: …\". Of several the one with the most pixels, the others in the note.",
     .source = kPictureSource, .caveat = "Only the header is read: the picture itself may be broken, blurred or the wrong one.",
     .act = "Put in the cover the receiver asked for: most want RGB, square, JPEG or PNG."},
    {.id = "cover_art_pixels", .title = "Shorter side of the cover", .group = Group::names, .unit = Unit::count, .better = Better::higher,
     .what = "Pixels of the cover's shorter side.", .how = "The lesser of width and height of the picture that cover_art names.",
     .source = kPictureSource, .caveat = "A small picture blown up has many pixels too.",
     .act = "Export the cover again from its original; do not enlarge the small one."},
};

class CoverMeter final : public Meter {
 public:
  explicit CoverMeter(const Setup& setup) : facts_(setup.facts) {}
  [[nodiscard]] bool wants_blocks() const override { return false; }
  void process(const Block&) override {}

  void report(const Bus&, Report& report) override {
    if (facts_.artworks.empty()) {
      report.value("cover_art", std::string("none"));
      report.not_applicable("cover_art_pixels", "there is no picture in the file");
      return;
    }
    const auto pixels = [](const audio::Artwork& a) { return static_cast<double>(a.head.width) * a.head.height; };
    const auto largest = std::max_element(facts_.artworks.begin(), facts_.artworks.end(),
                                          [&](const audio::Artwork& a, const audio::Artwork& b) { return pixels(a) < pixels(b); });
    auto note = fmt::format("{} bytes, {}", largest->bytes, largest->origin);
    for (auto it = facts_.artworks.begin(); it != facts_.artworks.end(); ++it) {
      if (it == largest) continue;
      if (note.size() > 400) {
        note += fmt::format("; {} pictures in all", facts_.artworks.size());
        break;
      }
      note += "; also " + words(*it);
    }
    report.value("cover_art", words(*largest)).note = note;
    if (largest->head.trouble.empty())
      report.value("cover_art_pixels", static_cast<double>(std::min(largest->head.width, largest->head.height)));
    else
      report.not_measured("cover_art_pixels", "the picture: " + largest->head.trouble);
  }

 private:
  static std::string words(const audio::Artwork& artwork) {
    const auto& head = artwork.head;
    if (!head.trouble.empty()) return fmt::format("unreadable: {}{}", head.format.empty() ? "" : head.format + ", ", head.trouble);
    return fmt::format("{} {} x {}, {}, {}", head.format, head.width, head.height, head.colour,
                       head.width == head.height ? "square" : "not square");
  }

  const audio::FileFacts& facts_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<CoverMeter>(setup); }

}  // namespace

extern const MeterModule kCoverModule{kEntries, create, false};

}  // namespace sendworthy::measure

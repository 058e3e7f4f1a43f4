// A song against its plan, as text: the verdict, what the song is meant to be, how its sections stand, then the findings.
#include <sendworthy/song.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "base/lines.h"
#include "base/text.h"
#include "sheet/phrases.h"
#include "sheet/text_parts.h"

namespace sendworthy::sheet {
namespace {

constexpr int kVerdictHang = 6, kHeadHang = 10;
constexpr int kLongestName = 20, kShortestBar = 8;
constexpr double kBarLu = 20;  // from the biggest section down to an empty bar
constexpr std::size_t kPairsShown = 5;

std::string padded(std::string text, int columns) {
  const auto width = base::columns(text);
  return width < columns ? text + std::string(static_cast<std::size_t>(columns - width), ' ') : text;
}

std::string right(const std::string& text, int columns) {
  const auto width = base::columns(text);
  return width < columns ? std::string(static_cast<std::size_t>(columns - width), ' ') + text : text;
}

std::string shortened(const std::string& text, int columns) {
  if (base::columns(text) <= columns) return text;
  std::string kept;
  for (const auto& point : base::code_points(text)) {
    if (base::columns(kept + std::string(point.bytes)) >= columns) break;
    kept += point.bytes;
  }
  return kept + "…";
}

std::string figure(const std::optional<double>& value, int decimals = 1) { return value ? base::fixed(*value, decimals) : "-"; }

class SongText {
 public:
  SongText(const Sheet& sheet, const Catalog& catalog, const TextOptions& options) : sheet_(sheet), song_(*sheet.song), catalog_(catalog), page_(options.width, options.colour) {}

  std::string quiet() {
    head();
    return page_.take();
  }

  std::string full() {
    head();
    about();
    sections();
    parts();
    pairs();
    references();
    finding_groups(page_, sheet_.findings, catalog_, [this](const std::string& path) { return name(path); });
    files();
    std::vector<const FileSheet*> all;
    for (const auto& file : sheet_.files) all.push_back(&file);
    cautions(page_, all);
    return page_.take();
  }

 private:
  void head() {
    std::string text = song_.title.empty() ? base::for_terminal(song_.path) : base::for_terminal(song_.title);
    if (!song_.artist.empty()) text += ", " + base::for_terminal(song_.artist);
    auto counted = sheet_.findings;
    for (const auto& file : sheet_.files) counted.insert(counted.end(), file.findings.begin(), file.findings.end());
    const auto numbers = counts_text(count(counted));
    page_.paragraph(0, verdict_word(sheet_.verdict), kVerdictHang, unbroken(text) + (numbers.empty() ? "" : ": " + numbers), ink_of(sheet_.verdict), Ink::strong);
  }

  void about() {
    const auto row = [&](std::string_view label, const std::string& text) {
      if (!text.empty()) page_.paragraph(2, label, kHeadHang, text, Ink::faint);
    };
    row("plan", unbroken(base::for_terminal(song_.path)));
    for (const auto& [label, text] : {std::pair{"feeling", &song_.feeling}, {"approach", &song_.approach}}) {
      auto lines = base::lines_for_terminal(*text);
      if (lines.empty()) lines.emplace_back("not stated");
      for (std::size_t i = 0; i < lines.size(); ++i) row(i == 0 ? label : "", lines[i]);
    }
    for (const auto& file : sheet_.files) {
      if (file.path == song_.mix) row("mix", unbroken(base::for_terminal(file.path)) + ": " + (file.error ? base::for_terminal(file.error->text) : facts_line(file.facts)));
    }
  }

  /// Sizes as bars, so that the shape of the song is seen at a glance.
  void sections() {
    if (song_.sections.empty()) return;
    page_.blank();
    page_.line(0, "Sections, by integrated loudness", Ink::strong);
    double top = -1e9;
    int widest = 0;
    for (const auto& one : song_.sections) {
      if (one.loudness) top = std::max(top, *one.loudness);
      widest = std::max(widest, std::min(kLongestName, base::columns(base::for_terminal(one.name))));
    }
    const bool vocal = std::ranges::any_of(song_.sections, [](const auto& one) { return one.vocal_over_bed.has_value(); });
    const int fixed = 2 + 3 + widest + 2 + 8 + 2 + 6 + 2 + (vocal ? 9 : 0);
    const int room = std::clamp(page_.width() - fixed - 11, kShortestBar, 24);
    page_.line(2, unbroken(padded("", 3 + widest + 2 + 8 + 2) + "  LUFS" + (vocal ? "  vocal LU" : "")), Ink::faint);
    for (const auto& one : song_.sections) {
      std::string row = right(one.rank > 0 ? std::to_string(one.rank) : "-", 2) + " " + padded(shortened(base::for_terminal(one.name), widest), widest) + "  " +
                        padded(base::clock_time(one.start_s, 1), 8) + "  " + right(figure(one.loudness), 6);
      if (vocal) row += right(figure(one.vocal_over_bed), 10);
      if (one.loudness) row += "  " + padded(std::string(static_cast<std::size_t>(std::lround(std::clamp(1 - (top - *one.loudness) / kBarLu, 0.0, 1.0) * room)), '='), room);
      while (row.ends_with(' ')) row.pop_back();
      if (one.biggest) row += "  biggest";
      if (one.quietest) row += "  quietest";
      page_.line(2, unbroken(row));
    }
  }

  void parts() {
    std::vector<const SongSheet::Stem*> front;
    for (const auto& one : song_.stems) {
      if (one.reference_level) front.push_back(&one);
    }
    if (front.size() < 2) return;
    page_.blank();
    page_.line(0, "Heard very quietly, " + base::shortest(song_.quiet_db_spl) + " in place of " + base::shortest(song_.reference_db_spl) + " dB SPL (an estimate)", Ink::strong);
    const auto ranked = [&](auto value) {
      auto all = front;
      std::ranges::stable_sort(all, [&](const auto* a, const auto* b) { return value(a).value_or(-1e9) > value(b).value_or(-1e9); });
      std::string text;
      for (const auto* one : all) {
        if (value(one)) text += (text.empty() ? "" : ", ") + unbroken(base::for_terminal(one->name) + " " + base::fixed(*value(one), 0));
      }
      return text;
    };
    page_.paragraph(2, "reference", kHeadHang + 1, ranked([](const SongSheet::Stem* one) { return one->reference_level; }) + " dB, weighted as heard", Ink::faint);
    const auto quiet = ranked([](const SongSheet::Stem* one) { return one->quiet_level; });
    std::string gone;
    for (const auto* one : front) {
      if (one->disappears) gone += (gone.empty() ? "; not heard: " : ", ") + base::for_terminal(one->name);
    }
    page_.paragraph(2, "quiet", kHeadHang + 1, (quiet.empty() ? std::string("nothing") : quiet + " dB, weighted as heard") + gone, Ink::faint);
  }

  void pairs() {
    if (song_.pairs.empty()) return;
    page_.blank();
    page_.line(0, "Less important over more important (an estimate)", Ink::strong);
    for (std::size_t i = 0; i < std::min(kPairsShown, song_.pairs.size()); ++i) {
      const auto& one = song_.pairs[i];
      page_.line(2, unbroken(right(base::fixed(one.masked, 0), 3)) + " % of " + base::for_terminal(one.part) + " under " + base::for_terminal(one.masker));
    }
    if (const auto more = and_more(std::min(kPairsShown, song_.pairs.size()), static_cast<std::int64_t>(song_.pairs.size())); !more.empty()) page_.line(2, more);
  }

  void references() {
    for (const auto& one : song_.references) {
      page_.blank();
      page_.line(0, "Beside it, never judged: " + unbroken(base::for_terminal(one.path)), Ink::strong);
      if (!one.trouble.empty()) {
        page_.line(2, "could not be read: " + base::for_terminal(one.trouble));
      } else {
        page_.line(2, figure(one.loudness) + " LUFS, peak to loudness " + figure(one.peak_to_loudness_ratio) + " dB, below 120 Hz " + figure(one.low_share) + " dB, side to mid " + figure(one.side_to_mid) + " dB");
      }
    }
  }

  void files() {
    for (const auto& file : sheet_.files) {
      if (file.error) {
        page_.blank();
        page_.paragraph(0, "NO SHEET", kHeadHang, unbroken(name(file.path)) + ": " + base::for_terminal(file.error->text), Ink::fail);
      } else if (!file.findings.empty()) {
        page_.blank();
        page_.paragraph(0, verdict_word(file.verdict), kVerdictHang, unbroken(name(file.path)) + ", as a file", ink_of(file.verdict), Ink::strong);
        finding_groups(page_, file.findings, catalog_, [this](const std::string& path) { return name(path); });
      }
    }
  }

  [[nodiscard]] std::string name(const std::string& path) const {
    if (path == song_.path) return "the plan";
    if (path == song_.mix) return "the mix";
    for (const auto& stem : song_.stems) {
      if (stem.path == path) return base::for_terminal(stem.name);
    }
    return base::for_terminal(path);
  }

  const Sheet& sheet_;
  const SongSheet& song_;
  const Catalog& catalog_;
  Page page_;
};

}  // namespace

std::string song_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options, bool quiet) {
  SongText text(sheet, catalog, options);
  return quiet ? text.quiet() : text.full();
}

}  // namespace sendworthy::sheet

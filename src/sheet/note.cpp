// A page for the person who receives the files: what was measured stands in it, what only the sender knows is left
// blank. Plain Markdown that reads well as it is; no words of the command line.
#include <sendworthy/render.h>

#include <algorithm>
#include <string>
#include <vector>

#include "base/text.h"
#include "sheet/markdown.h"
#include "sheet/order.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

constexpr std::size_t kItemsShown = 8;  // per heading: it stays one page
constexpr std::size_t kFilesShown = 24;
constexpr std::string_view kBlank = "____________________";

const Measurement* find(const FileSheet& file, std::string_view id) {
  const auto found = std::find_if(file.measurements.begin(), file.measurements.end(),
                                  [id](const Measurement& one) { return one.key == id; });
  return found == file.measurements.end() ? nullptr : &*found;
}

/// "-14.2 LUFS", "not measured (too short)", or empty where it does not apply or was not asked for.
std::string reading(const FileSheet& file, std::string_view id, const Catalog& catalog) {
  const auto* measurement = find(file, id);
  if (measurement == nullptr || std::holds_alternative<NotApplicable>(measurement->outcome)) return "";
  const auto reason = reason_of(measurement->outcome);
  const auto value = value_of(*measurement, catalog);
  return reason.empty() ? value : value + " (" + reason + ")";
}

std::string joined(const std::vector<std::pair<std::string, std::string>>& parts) {
  std::string text;
  for (const auto& [label, value] : parts) {
    if (!value.empty()) text += (text.empty() ? "" : ", ") + label + value;
  }
  return text;
}

std::string levels(const FileSheet& file, const Catalog& catalog) {
  return joined(
      {{"", reading(file, "integrated_loudness", catalog)}, {"range ", reading(file, "loudness_range", catalog)}});
}

std::string peaks(const FileSheet& file, const Catalog& catalog) {
  return joined(
      {{"true peak ", reading(file, "true_peak", catalog)}, {"sample peak ", reading(file, "sample_peak", catalog)}});
}

std::string silence(const FileSheet& file, const Catalog& catalog) {
  const auto head = reading(file, "leading_silence", catalog);
  const auto tail = reading(file, "trailing_silence", catalog);
  return joined({{"", head.empty() ? "" : head + " before the music"}, {"", tail.empty() ? "" : tail + " after it"}});
}

/// The tag of that name if all files that have one agree.
std::string tag(const std::vector<const FileSheet*>& files, std::string_view name) {
  std::string value;
  for (const auto* file : files) {
    for (const auto& one : file->facts.tags) {
      if (one.name != name || one.value.empty()) continue;
      if (!value.empty() && value != one.value) return "";
      value = one.value;
    }
  }
  return value;
}

class HandOff {
 public:
  HandOff(const Sheet& sheet, const Catalog& catalog)
      : sheet_(sheet), catalog_(catalog), files_(in_order(sheet.files)), several_(sheet.files.size() > 1) {}

  std::string write() {
    line("# Hand-off note");
    line("");
    line("- Artist: " + or_blank(tag(files_, "artist")));
    line("- Title: " + or_blank(tag(files_, several_ ? "album" : "title")));
    line("- From, and how to reach me: " + std::string(kBlank));
    facts();
    found();
    on_purpose();
    blanks();
    cautions();
    return std::move(out_);
  }

 private:
  void line(std::string_view text) { out_.append(text).push_back('\n'); }

  void heading(std::string_view text) {
    line("");
    line("## " + std::string(text));
    line("");
  }

  static std::string or_blank(const std::string& text) { return text.empty() ? std::string(kBlank) : md(text); }

  void facts() {
    heading(several_ ? "The files" : "The file");
    std::size_t shown = 0;
    for (const auto* file : files_) {
      if (++shown > kFilesShown) break;
      several_ ? short_facts(*file) : long_facts(*file);
    }
    if (files_.size() > kFilesShown) line("- " + and_more(kFilesShown, static_cast<std::int64_t>(files_.size())));
  }

  void long_facts(const FileSheet& file) {
    line("- File: " + md(file.path));
    if (file.error) {
      line("- It could not be read: " + md(file.error->text));
      return;
    }
    line("- Format: " + md(facts_line(file.facts)) + " (" + std::to_string(file.facts.frames) + " frames)");
    const auto row = [this](std::string_view label, const std::string& text) {
      if (!text.empty()) line("- " + std::string(label) + ": " + md(text));
    };
    row("Loudness", levels(file, catalog_));
    row("Peaks", peaks(file, catalog_));
    row("Silence", silence(file, catalog_));
    row("Digest of the audio", file.audio_digest);
    row("Digest of the file", file.file_digest);
  }

  void short_facts(const FileSheet& file) {
    if (file.error) {
      line("- " + md(file.path) + ": could not be read: " + md(file.error->text));
      return;
    }
    line("- " + md(file.path) + ": " +
         md(joined({{"", facts_line(file.facts)},
                    {"", levels(file, catalog_)},
                    {"", peaks(file, catalog_)},
                    {"", silence(file, catalog_)}})));
    if (!file.audio_digest.empty()) line("  " + md(file.audio_digest));
  }

  struct Entry {
    const FileSheet* file;  ///< none: of the whole set
    const Finding* finding;
  };

  template <class Which>
  std::vector<Entry> select(Which which) const {
    std::vector<Entry> chosen;
    for (const auto* file : files_) {
      for (const auto& finding : file->findings) {
        if (which(finding)) chosen.push_back({file, &finding});
      }
    }
    for (const auto& finding : sheet_.findings) {
      if (which(finding)) chosen.push_back({nullptr, &finding});
    }
    return chosen;
  }

  [[nodiscard]] std::string words(const Entry& entry) const {
    std::string text = headline(*entry.finding, catalog_);
    if (several_ && entry.file != nullptr) text = base::for_terminal(entry.file->path) + ": " + text;
    if (!entry.finding->where.empty()) {
      text += "; at " + base::clock_time(entry.finding->where.front().start_s);
      const auto rest =
          and_more(1, std::max(entry.finding->where_total, static_cast<std::int64_t>(entry.finding->where.size())));
      if (!rest.empty()) text += " " + rest;
    }
    return md(text);
  }

  void list(std::string_view title, const std::vector<Entry>& entries) {
    if (entries.empty()) return;
    line(title);
    line("");
    for (std::size_t i = 0; i < std::min(kItemsShown, entries.size()); ++i) line("- " + words(entries[i]));
    const auto rest = and_more(std::min(kItemsShown, entries.size()), static_cast<std::int64_t>(entries.size()));
    if (!rest.empty()) line("- " + rest);
    line("");
  }

  void found() {
    if (!sheet_.judged) return;
    heading("What a check of the audio found");
    std::string against;
    for (const auto& set : sheet_.rules)
      against += (against.empty() ? "" : "; ") + md(set.title.empty() ? set.name : set.title);
    if (!against.empty()) {
      line("Checked for: " + against + ".");
      line("");
    }
    const auto fails = select([](const Finding& f) { return f.status == Status::fail; });
    const auto unknown = select([](const Finding& f) { return f.status == Status::not_measured && !f.optional; });
    const auto warns = select([](const Finding& f) { return f.status == Status::warn; });
    if (fails.empty() && unknown.empty() && warns.empty()) {
      const bool unread = std::any_of(files_.begin(), files_.end(), [](const auto* f) { return f->error.has_value(); });
      line(files_.empty() || unread ? "Not every file could be read." : "Nothing that speaks against it.");
    }
    list("Not as it should be:", fails);
    list("Could not be measured:", unknown);
    list("Worth knowing:", warns);
    while (out_.ends_with("\n\n")) out_.pop_back();
  }

  void on_purpose() {
    const auto waived = select([](const Finding& f) { return f.status == Status::waived; });
    if (waived.empty()) return;
    heading("Left as it is on purpose");
    for (std::size_t i = 0; i < std::min(kItemsShown, waived.size()); ++i) {
      const auto& waiver = waived[i].finding->waiver;
      line("- " + words(waived[i]) + ": " + md(waiver ? waiver_text(*waiver) : "no reason given"));
    }
    const auto rest = and_more(std::min(kItemsShown, waived.size()), static_cast<std::int64_t>(waived.size()));
    if (!rest.empty()) line("- " + rest);
  }

  void blanks() {
    heading("For the sender to fill in");
    for (const std::string_view what :
         {"Chosen version, and which other versions follow", "Place in the running order, gaps before and after",
          "Tempo and metre", "Reference tracks, and what about them",
          "What I like about the mix, and what worries me",
          "On the mix bus: what was left on, what was taken off",
          "Fades: done already, or to be made from where to where",
          "Count-in, clicks, noise at the ends: keep or remove", "Codes (ISRC, UPC)", "Anything to listen for"})
      line("- " + std::string(what) + ": " + std::string(kBlank));
  }

  // What the receiver's ears need; how long the sender may listen in their own room does not travel along.
  void cautions() {
    std::vector<std::string> texts;
    for (const auto* file : files_) {
      for (const auto& caution : file->cautions) {
        if (!caution.text.starts_with("Before you play") || texts.size() == kItemsShown) continue;
        texts.push_back((several_ ? md(file->path) + ": " : "") + md(caution.text));
      }
    }
    if (texts.empty()) return;
    heading("Before you listen");
    for (const auto& text : texts) line("- " + text);
  }

  const Sheet& sheet_;
  const Catalog& catalog_;
  std::vector<const FileSheet*> files_;
  bool several_;
  std::string out_;
};

}  // namespace
}  // namespace sheet

std::string render_note(const Sheet& sheet, const Catalog& catalog) { return sheet::HandOff(sheet, catalog).write(); }

}  // namespace sendworthy

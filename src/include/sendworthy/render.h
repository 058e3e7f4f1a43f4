// Renderers: sheet in, text out. Pure functions; nothing is judged here.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

namespace sendworthy {

enum class Colour { off, on };

struct TextOptions {
  Colour colour = Colour::off;
  int width = 80;      ///< columns
  bool quiet = false;  ///< verdict lines only
};

[[nodiscard]] std::string render_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options = {});
[[nodiscard]] std::string render_json(const Sheet& sheet, const Catalog& catalog);
[[nodiscard]] std::string render_jsonl(const Sheet& sheet, const Catalog& catalog);  ///< one line per file

enum class WarnInJUnit { passes, fails };
[[nodiscard]] std::string render_junit(const Sheet& sheet, const Catalog& catalog,
                                       WarnInJUnit warn = WarnInJUnit::passes);
[[nodiscard]] std::string render_csv(const Sheet& sheet, const Catalog& catalog);

/// One page that needs nothing else: no network, no other file, no script to be read. With pictures where the check made them.
[[nodiscard]] std::string render_html(const Sheet& sheet, const Catalog& catalog);

/// Places of findings, as CSV and as a Standard MIDI File (format 0, 120 bpm, markers at the time of each place).
[[nodiscard]] std::string render_markers_csv(const Sheet& sheet, const Catalog& catalog);
[[nodiscard]] std::string render_markers_midi(const Sheet& sheet, const Catalog& catalog);

/// A one-page note to the receiving engineer, Markdown, facts filled in and blanks for the rest.
[[nodiscard]] std::string render_note(const Sheet& sheet, const Catalog& catalog);

struct MergeOptions {
  /// Paths that must each have a sheet, as they were named when they were checked ("./a" is "a"). One that has none is on the
  /// merged sheet with an error; a sheet of any other file is a warning. Nothing: whatever comes is all there is.
  std::optional<std::vector<std::string>> expected;
};

/// Reads JSONL written by render_jsonl back into one sheet with one verdict: that of one run over all the files, whatever the
/// order of texts and lines. Where two lines are of one file and differ, the later one stands, and that is said.
/// Error: unrecognised, with name and line, for what is no such line. Move texts in where they are large: each is let go once it
/// was read.
[[nodiscard]] Result<Sheet> merge_jsonl(std::vector<std::pair<std::string, std::string>> name_and_text, const Catalog& catalog,
                                        const MergeOptions& options = {});

/// The value with its unit, at the catalog's decimals; "not measured" and "not applicable" in words.
[[nodiscard]] std::string show_value(const Outcome& outcome, Unit unit, int decimals);

}  // namespace sendworthy

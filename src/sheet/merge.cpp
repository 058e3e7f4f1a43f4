// Sheets of many runs into one. What a merge decides is said in findings of the whole set.
#include <sendworthy/render.h>

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "base/text.h"
#include "sheet/merge_read.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

struct Row {
  Line line;
  std::string from;  ///< "night.jsonl, line 3"
};

using RowKey = std::tuple<std::string, std::string, std::set<std::string>>;  ///< path, role, names of rule sets

RowKey key_of_row(const Line& line) {
  std::set<std::string> names;
  for (const auto& set : line.rules) names.insert(set.name);
  return {line.file.path, line.file.role, std::move(names)};
}

Finding about_the_merge(std::string rule, Status status, std::string what, std::string why, std::string remedy) {
  Finding finding;
  finding.rule = std::move(rule);
  finding.status = finding.before_waiver = status;
  finding.outcome = Value(std::move(what));
  finding.why = std::move(why);
  finding.remedy = std::move(remedy);
  finding.source = "definition";
  return finding;
}

Finding replaced(const Row& earlier, const Row& later) {
  const auto& audio = earlier.line.file.audio_digest;
  const bool other_audio = audio != later.line.file.audio_digest;
  const bool hides = other_audio && earlier.line.file.verdict != Verdict::pass;
  auto finding = about_the_merge(
      "one-sheet-per-file", hides ? Status::fail : Status::note,
      "read more than once; the sheet from " + later.from + " stands, the one from " + earlier.from + " does not",
      !other_audio ? "Both sheets are of the same audio, so the later one says all."
      : hides      ? "The sheet that no longer counts was of other audio, and it was not a pass."
                   : "The sheet that no longer counts was of other audio.",
      !other_audio ? "" : "If these are two files with one name, check them with their folders in the path; if one is an old bounce, leave its "
                     "sheet out.");
  finding.files = {later.line.file.path};
  return finding;
}

/// What tells two findings of the whole set apart.
std::string identity(const Finding& finding, const Catalog& catalog) {
  std::string text = finding.ruleset + '\n' + finding.rule + '\n' + headline(finding, catalog) + '\n' + finding.why;
  for (const auto& file : finding.files) text += '\n' + file;
  return text;
}

Verdict worst(Verdict a, Verdict b) { return static_cast<int>(a) > static_cast<int>(b) ? a : b; }

class Merger {
 public:
  explicit Merger(const Catalog& catalog) : catalog_(catalog) {}

  Result<void> add(const std::string& name, std::string_view text) {
    int number = 0;
    bool any = false;
    while (!text.empty()) {
      ++number;
      const auto end = text.find('\n');
      auto line_text = text.substr(0, end);
      text = end == std::string_view::npos ? std::string_view{} : text.substr(end + 1);
      if (!line_text.empty() && line_text.back() == '\r') line_text.remove_suffix(1);
      if (line_text.find_first_not_of(" \t") == std::string_view::npos) continue;
      auto line = read_line(line_text, catalog_);
      if (!line) {
        std::string what = line.error().text;
        if (number == 1 && line_text == "{") what = "it is a whole sheet; write sheets to merge with --format jsonl";
        return fail(ErrorCode::unrecognised, "no line of a sheet: " + what, {base::for_terminal(name), number, 0});
      }
      any = true;
      if (judged_ && *judged_ != line->judged) {
        return fail(ErrorCode::unrecognised,
                    "judged and merely measured files cannot be merged into one verdict; check this file too",
                    {base::for_terminal(name), number, 0});
      }
      judged_ = line->judged;
      take({std::move(*line), base::for_terminal(name) + ", line " + std::to_string(number)});
    }
    if (!any) return fail(ErrorCode::unrecognised, "there is no sheet in it", {base::for_terminal(name), 0, 0});
    return {};
  }

  Sheet finish() {
    sheet_.judged = judged_.value_or(true);
    say_what_differs();
    for (auto& [key, row] : rows_) sheet_.files.push_back(std::move(row.line.file));
    auto verdict = verdict_of(sheet_.findings);
    for (const auto& file : sheet_.files) verdict = worst(verdict, file.verdict);
    sheet_.verdict = sheet_.judged ? verdict : Verdict::fail;
    return std::move(sheet_);
  }

 private:
  void take(Row row) {
    versions_.insert(row.line.tool_version);
    if (first_) {
      sheet_.tool_version = row.line.tool_version;
      sheet_.libraries = row.line.libraries;
      first_ = false;
    }
    for (const auto& set : row.line.rules) {
      digests_[set.name].insert(set.digest);
      const bool known = std::any_of(sheet_.rules.begin(), sheet_.rules.end(), [&set](const RulesUsed& other) {
        return other.name == set.name && other.digest == set.digest;
      });
      if (!known) sheet_.rules.push_back(set);
    }
    for (auto& finding : row.line.of_the_set) {
      if (seen_.insert(identity(finding, catalog_)).second) sheet_.findings.push_back(std::move(finding));
    }
    auto key = key_of_row(row.line);
    const auto [at, is_new] = rows_.try_emplace(std::move(key));
    if (!is_new) sheet_.findings.push_back(replaced(at->second, row));
    at->second = std::move(row);
  }

  void say_what_differs() {
    for (const auto& [name, digests] : digests_) {
      if (digests.size() > 1) {
        sheet_.findings.push_back(about_the_merge(
            "one-version-of-a-rule-set", Status::warn,
            "files were judged by " + std::to_string(digests.size()) + " versions of " + name,
            "Verdicts under different rules do not add up to one.", "Check all files again with the same rule set."));
      }
    }
    std::set<std::set<std::string>> together;
    for (const auto& [key, row] : rows_) together.insert(std::get<2>(key));
    if (together.size() > 1) {
      sheet_.findings.push_back(
          about_the_merge("same-rule-sets-for-all", Status::note, "not every file was judged by every rule set",
                          "The verdict holds for each file under the rule sets named in its own findings.", ""));
    }
    if (versions_.size() > 1) {
      std::string all;
      for (const auto& version : versions_) all += (all.empty() ? "" : ", ") + version;
      sheet_.findings.push_back(about_the_merge("one-version-of-the-program", Status::note,
                                                "the sheets were written by versions " + all,
                                                "Another version may read the same audio slightly differently.", ""));
    }
  }

  const Catalog& catalog_;
  Sheet sheet_;
  bool first_ = true;
  std::optional<bool> judged_;
  std::map<RowKey, Row> rows_;
  std::set<std::string> versions_;
  std::map<std::string, std::set<std::string>> digests_;
  std::set<std::string> seen_;
};

}  // namespace
}  // namespace sheet

Result<Sheet> merge_jsonl(const std::vector<std::pair<std::string, std::string>>& name_and_text,
                          const Catalog& catalog) {
  if (name_and_text.empty()) return fail(ErrorCode::usage, "there is nothing to merge; name at least one JSONL file");
  sheet::Merger merger(catalog);
  for (const auto& [name, text] : name_and_text) {
    if (auto added = merger.add(name, text); !added) return tl::unexpected(added.error());
  }
  return merger.finish();
}

}  // namespace sendworthy

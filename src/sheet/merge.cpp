// Sheets of many runs into one. What a merge decides is said in findings of the whole set.
#include <sendworthy/render.h>

#include <algorithm>
#include <iterator>
#include <map>
#include <optional>
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
  std::string from;               ///< "night.jsonl, line 3"
  std::vector<std::size_t> said;  ///< findings of the whole set on the line, each once: places in Merger::said_
  std::string text;               ///< the line written anew; empty until there is another of the same file
};

using RowKey = std::tuple<std::string, std::string, std::set<std::string>>;  ///< path, role, names of rule sets
using Versions = std::set<std::pair<std::string, std::string>>;              ///< of rule sets: name, digest

RowKey key_of_row(const Line& line) {
  std::set<std::string> names;
  for (const auto& set : line.rules) names.insert(set.name);
  return {line.file.path, line.file.role, std::move(names)};
}

Versions versions_of(const std::vector<RulesUsed>& rules) {
  Versions versions;
  for (const auto& set : rules) versions.emplace(set.name, set.digest);
  return versions;
}

bool same_order(const std::vector<RulesUsed>& a, const std::vector<RulesUsed>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const RulesUsed& x, const RulesUsed& y) {
    return x.name == y.name && x.digest == y.digest;
  });
}

constexpr std::string_view kOneVersion = "one-version-of-a-rule-set";

/// Versions travel as one text, so that a merge of merged sheets still knows all of them: "0.1.0, 0.2.0".
constexpr std::string_view kBetweenVersions = ", ";

void split_versions(std::string_view text, std::set<std::string>& into) {
  for (;;) {
    const auto end = text.find(kBetweenVersions);
    into.emplace(text.substr(0, end));
    if (end == std::string_view::npos) return;
    text.remove_prefix(end + kBetweenVersions.size());
  }
}

std::string joined(const std::set<std::string>& versions) {
  std::string all;
  for (const auto& version : versions) all += (all.empty() ? "" : std::string(kBetweenVersions)) + version;
  return all;
}

/// "./a//b/./c" → "a/b/c": spellings of one file, whatever the folders are. What ".." leads to only the disk knows.
std::string plain_path(std::string_view path) {
  std::string plain = path.starts_with('/') ? "/" : "";
  while (!path.empty()) {
    const auto end = std::min(path.find('/'), path.size());
    const auto part = path.substr(0, end);
    path.remove_prefix(std::min(end + 1, path.size()));
    if (part.empty() || part == ".") continue;
    if (!plain.empty() && plain.back() != '/') plain += '/';
    plain += part;
  }
  return plain;
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

/// Of two sheets of one file the stricter stands, so that the order they came in decides nothing.
bool stricter(const Row& a, const Row& b) {
  const auto rank = [](const Row& row) {
    int failed = 0, warned = 0;
    for (const auto& finding : row.line.file.findings) {
      const auto verdict = verdict_of({finding});
      failed += verdict == Verdict::fail ? 1 : 0;
      warned += verdict == Verdict::warn ? 1 : 0;
    }
    return std::tuple(-static_cast<int>(row.line.file.verdict), -failed, -warned);
  };
  const auto of_a = rank(a), of_b = rank(b);
  return of_a != of_b ? of_a < of_b : a.text < b.text;
}

Finding replaced(const Row& fallen, const Row& standing) {
  const auto& file = standing.line.file;
  const bool other_audio = fallen.line.file.audio_digest != file.audio_digest;
  const bool other_rules = versions_of(fallen.line.rules) != versions_of(standing.line.rules);
  const bool differ = fallen.line.file.verdict != file.verdict;
  const bool hides = (other_audio && file.verdict != Verdict::pass) || (other_rules && differ);
  auto finding = about_the_merge(
      "one-sheet-per-file", hides ? Status::fail : Status::note,
      "read more than once; the sheet from " + standing.from + " stands" + (differ ? ", being the stricter one" : "") + ", the one from " +
          fallen.from + " does not",
      other_audio   ? std::string("The sheet that does not count was of other audio") + (hides ? ", and not both passed." : ".")
      : other_rules ? "The sheet that does not count was judged by another version of a rule set" +
                          std::string(differ ? ", and came to another verdict." : ".")
      : differ      ? "Both sheets are of the same audio, and it was judged differently, as where a waiver ended in between; the stricter counts."
                    : "Both sheets are of the same audio and come to the same verdict.",
      other_audio ? "If these are two files with one name, check them with their folders in the path; if one is an old bounce, leave its "
                    "sheet out."
      : other_rules ? "Leave the sheet out that was judged by the rule set that no longer holds."
      : differ      ? "If the stricter sheet no longer holds, leave it out."
                    : "");
  finding.files = {file.path};
  return finding;
}

/// What tells two findings of the whole set apart.
std::string identity(const Finding& finding, const Catalog& catalog) {
  std::string text = finding.ruleset + '\n' + finding.rule + '\n' + headline(finding, catalog) + '\n' + finding.why + '\n' +
                     finding.source;
  for (const auto& file : finding.files) text += '\n' + file;
  return text;
}

/// What two findings of one identity may still differ in: which of them is shown must not hang on the order of sheets.
std::string rest_of(const Finding& finding) {
  auto text = finding.remedy + '\n' + finding.note + '\n' + finding.limit_text + '\n' + finding.compare_to + '\n' + finding.key;
  if (finding.waiver) text += '\n' + finding.waiver->reason + '\n' + finding.waiver->by + '\n' + finding.waiver->until;
  for (const auto& where : finding.where) {
    text += '\n' + where.file + '\n' + where.note;
    for (const auto number : {where.start_frame, where.end_frame, static_cast<std::int64_t>(where.channel)}) text += ' ' + std::to_string(number);
  }
  return text + '\n' + std::to_string(finding.where_total);
}

/// The line written anew: equal where two lines say the same, however they came.
std::string rewritten(const Line& line, const Catalog& catalog) {
  Sheet sheet;
  sheet.tool_version = line.tool_version;
  sheet.libraries = line.libraries;
  sheet.rules = line.rules;
  sheet.judged = line.judged;
  sheet.files = {line.file};
  return render_jsonl(sheet, catalog);
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
        if (number == 1 && line_text == "{") what = std::string(kWholeDocument);
        return fail(ErrorCode::unrecognised, "no line of a sheet: " + what, {base::for_terminal(name), number, 0});
      }
      any = true;
      if (judged_ && *judged_ != line->judged) {
        return fail(ErrorCode::unrecognised,
                    "judged and merely measured files cannot be merged into one verdict; check this file too",
                    {base::for_terminal(name), number, 0});
      }
      judged_ = line->judged;
      take({std::move(*line), base::for_terminal(name) + ", line " + std::to_string(number), {}, {}});
    }
    if (!any) return fail(ErrorCode::unrecognised, "there is no sheet in it", {base::for_terminal(name), 0, 0});
    return {};
  }

  Sheet finish(const std::optional<std::vector<std::string>>& expected) {
    sheet_.judged = judged_.value_or(true);
    settle_files();
    settle_rules();
    settle_versions();
    settle_findings_of_the_set();
    std::move(repeated_.begin(), repeated_.end(), std::back_inserter(sheet_.findings));
    for (auto& [key, row] : rows_) sheet_.files.push_back(std::move(row.line.file));
    if (expected) hold_against(*expected);
    auto verdict = verdict_of(sheet_.findings);
    for (const auto& file : sheet_.files) verdict = worst(verdict, file.verdict);
    sheet_.verdict = sheet_.judged ? verdict : Verdict::fail;
    return std::move(sheet_);
  }

 private:
  struct Said {
    Finding finding;
    const std::string* identity = nullptr;
    std::size_t rows = 0;  ///< on how many of the lines that stand
  };

  void take(Row row) {
    std::set<std::size_t> on_this_line;
    for (auto& finding : row.line.of_the_set) {
      const auto [at, is_new] = seen_.try_emplace(std::string(to_string(finding.status)) + '\n' + identity(finding, catalog_), said_.size());
      const auto place = at->second;
      if (is_new) {
        said_.push_back({std::move(finding), &at->first, 0});
      } else if (rest_of(finding) < rest_of(said_[place].finding)) {
        said_[place].finding = std::move(finding);
      }
      if (on_this_line.insert(place).second) row.said.push_back(place);
    }
    row.line.of_the_set.clear();
    auto& rows = taken_[key_of_row(row.line)];
    if (!rows.empty()) {
      row.text = rewritten(row.line, catalog_);
      if (rows.size() == 1) rows.front().text = rewritten(rows.front().line, catalog_);
    }
    const auto same = std::find_if(rows.begin(), rows.end(), [&row](const Row& other) { return other.text == row.text; });
    if (same == rows.end()) {
      rows.push_back(std::move(row));
      return;
    }
    // A job that was run again, or a sheet handed in twice, says nothing new. What only one of them says of the set did not hold for both.
    if (row.from < same->from) same->from = std::move(row.from);
    if (same->said != row.said) {
      std::vector<std::size_t> both;
      std::copy_if(same->said.begin(), same->said.end(), std::back_inserter(both), [&on_this_line](std::size_t place) { return on_this_line.count(place) > 0; });
      sort_by_identity(both);
      same->said = std::move(both);
    }
  }

  void sort_by_identity(std::vector<std::size_t>& places) const {
    std::sort(places.begin(), places.end(), [this](std::size_t a, std::size_t b) { return *said_[a].identity < *said_[b].identity; });
  }

  void settle_files() {
    for (auto& [key, rows] : taken_) {
      std::sort(rows.begin(), rows.end(), stricter);
      for (std::size_t i = 1; i < rows.size(); ++i) repeated_.push_back(replaced(rows[i], rows.front()));
      rows_.emplace(key, std::move(rows.front()));
      rows.clear();
    }
  }

  /// All versions that took part, whatever the order they came in.
  void settle_versions() {
    std::set<std::string> programs;
    std::map<std::string, std::set<std::string>> libraries;
    for (const auto& [key, row] : rows_) {
      split_versions(row.line.tool_version, programs);
      for (const auto& [name, version] : row.line.libraries) split_versions(version, libraries[name]);
    }
    sheet_.tool_version = joined(programs);
    std::string differing;
    for (const auto& [name, versions] : libraries) {
      sheet_.libraries[name] = joined(versions);
      if (versions.size() > 1) differing += (differing.empty() ? "" : "; ") + name + " " + joined(versions);
    }
    if (programs.size() > 1) {
      about_versions_.push_back(about_the_merge(
          "one-version-of-the-program", Status::warn, "the sheets were written by versions " + sheet_.tool_version,
          "Another version may read the same audio slightly differently.", "Check all files again with one version."));
    }
    if (!differing.empty()) {
      about_versions_.push_back(about_the_merge(
          "one-version-of-the-libraries", Status::note, "the sheets were written with " + differing,
          "Another version of a decoder may read the same file slightly differently.", ""));
    }
  }

  void settle_rules() {
    const std::vector<RulesUsed>* first = nullptr;
    bool same = true;
    std::map<std::pair<std::string, std::string>, RulesUsed> all;
    std::map<std::string, std::set<std::string>> digests;
    std::set<std::set<std::string>> together;
    for (const auto& [key, row] : rows_) {
      if (first == nullptr) first = &row.line.rules;
      same = same && same_order(*first, row.line.rules);
      together.insert(std::get<2>(key));
      for (const auto& set : row.line.rules) {
        digests[set.name].insert(set.digest);
        const auto [at, is_new] = all.try_emplace({set.name, set.digest}, set);
        // The same set may lie in another folder on each machine; which one is named must not hang on the order of sheets.
        if (!is_new && set.origin < at->second.origin) at->second.origin = set.origin;
      }
    }
    if (same && first != nullptr) {
      sheet_.rules = *first;
      for (auto& set : sheet_.rules) set.origin = all.at({set.name, set.digest}).origin;
    } else {
      for (auto& [version, set] : all) sheet_.rules.push_back(std::move(set));
    }
    for (const auto& [name, versions] : digests) {
      if (versions.size() > 1) {
        about_versions_.push_back(about_the_merge(
            std::string(kOneVersion), Status::fail,
            "files were judged by " + std::to_string(versions.size()) + " versions of " + name,
            "Verdicts under different rules do not add up to one.", "Check all files again with the same rule set."));
      }
    }
    if (together.size() > 1) {
      about_versions_.push_back(
          about_the_merge("same-rule-sets-for-all", Status::note, "not every file was judged by every rule set",
                          "The verdict holds for each file under the rule sets named in its own findings.", ""));
    }
  }

  /// What each run said of its own files, made into what one run over all of them would have said: a warning of a rule set
  /// (nothing met this waiver) holds if it holds everywhere; a failure holds, unless a file of the merged sheet shows the
  /// very same.
  void settle_findings_of_the_set() {
    std::map<std::string, std::size_t> rows_by_set;
    std::set<std::string> shown;
    std::vector<std::size_t> order;  // by file, not by which sheet came first
    for (const auto& [key, row] : rows_) {
      for (const auto& name : std::get<2>(key)) ++rows_by_set[name];
      if (said_.empty()) continue;
      for (const auto place : row.said) {
        if (said_[place].rows++ == 0) order.push_back(place);
      }
      for (const auto& finding : row.line.file.findings) {
        if (finding.measure.empty() && finding.status == Status::fail) shown.insert(identity(finding, catalog_));
      }
    }
    std::vector<std::size_t> fallen;  // of sheets that do not stand
    for (std::size_t place = 0; place < said_.size(); ++place) {
      if (said_[place].rows == 0) fallen.push_back(place);
    }
    sort_by_identity(fallen);
    order.insert(order.end(), fallen.begin(), fallen.end());
    for (const auto place : order) {
      auto& finding = said_[place].finding;
      const auto rows = said_[place].rows;
      if (finding.ruleset.empty() && finding.rule == kOneVersion) continue;  // of an earlier merge; made anew
      const bool advice = verdict_of({finding}) != Verdict::fail && finding.status != Status::waived;
      if (advice ? finding.ruleset.empty() || rows == 0 || rows < rows_by_set[finding.ruleset]
                 : shown.count(identity(finding, catalog_)) > 0)
        continue;
      sheet_.findings.push_back(std::move(finding));
    }
    std::move(about_versions_.begin(), about_versions_.end(), std::back_inserter(sheet_.findings));
  }

  /// Every path of the list must have a sheet, and nothing else is expected.
  void hold_against(const std::vector<std::string>& expected) {
    std::set<std::string> here, wanted;
    for (const auto& file : sheet_.files) here.insert(plain_path(file.path));
    for (const auto& path : expected) {
      auto plain = plain_path(path);
      const bool missing = here.count(plain) == 0;
      if (!wanted.insert(std::move(plain)).second || !missing) continue;
      FileSheet file;
      file.path = path;
      file.verdict = Verdict::fail;
      file.error = Error{ErrorCode::missing,
                         "no sheet of \"" + base::for_terminal(path) +
                             "\" is among those merged, and the list names it; check it and merge again",
                         {}};
      sheet_.files.push_back(std::move(file));
    }
    std::vector<std::string> others;
    std::size_t total = 0;
    for (const auto& file : sheet_.files) {
      if (wanted.count(plain_path(file.path)) > 0) continue;
      ++total;
      if (others.size() < kMaxWhere) others.push_back(file.path);
    }
    if (total > 0) {
      auto finding = about_the_merge("no-sheet-beside-the-list", Status::warn,
                                     total == 1 ? "1 sheet is of a file that is not on the list"
                                                : std::to_string(total) + " sheets are of files that are not on the list",
                                     "A sheet that nobody expects may be left from an earlier run.",
                                     "Take the sheet out, or put the file on the list.");
      finding.files = std::move(others);
      sheet_.findings.push_back(std::move(finding));
    }
    std::stable_sort(sheet_.files.begin(), sheet_.files.end(),
                     [](const FileSheet& a, const FileSheet& b) { return a.path < b.path; });
  }

  const Catalog& catalog_;
  Sheet sheet_;
  std::optional<bool> judged_;
  std::map<RowKey, std::vector<Row>> taken_;  ///< of each file all sheets that differ
  std::map<RowKey, Row> rows_;                ///< the one that stands
  std::vector<Said> said_;
  std::map<std::string, std::size_t> seen_;  ///< status and identity → place in said_
  std::vector<Finding> repeated_, about_versions_;
};

}  // namespace
}  // namespace sheet

Result<Sheet> merge_jsonl(std::vector<std::pair<std::string, std::string>> name_and_text, const Catalog& catalog,
                          const MergeOptions& options) {
  if (name_and_text.empty()) return fail(ErrorCode::usage, "there is nothing to merge; name at least one JSONL file");
  sheet::Merger merger(catalog);
  for (auto& [name, text] : name_and_text) {
    if (auto added = merger.add(name, text); !added) return tl::unexpected(added.error());
    text = {};
  }
  return merger.finish(options.expected);
}

}  // namespace sendworthy

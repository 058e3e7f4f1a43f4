// The sheet for people: the verdict first, then what to do, then what is in order, cautions last.
#include "base/text.h"

#include <sendworthy/render.h>

#include <algorithm>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "sheet/layout.h"
#include "sheet/order.h"
#include "sheet/phrases.h"
#include "sheet/text_parts.h"

namespace sendworthy {
namespace sheet {
namespace {

constexpr std::size_t kPlacesShown = 3;
constexpr std::size_t kNamesShown = 6;
constexpr std::size_t kEachShown = 4;  // more numbers than these are shown by their extremes
constexpr int kVerdictHang = 6;
constexpr int kDetailHang = 7;

/// One row of the sheet: a finding, and the rule sets that agree in it.
struct Item {
  const Finding* finding;
  std::string headline;
  std::string rule_sets;
};

std::vector<Item> items_of(const std::vector<Finding>& findings, const Catalog& catalog) {
  std::vector<Item> items;
  std::map<std::string, std::size_t> at;
  for (const auto& finding : findings) {
    auto words = headline(finding, catalog);
    const auto key = std::string(to_string(finding.status)) + (finding.optional ? "?" : "") + '\n' + finding.rule +
                     '\n' + words + '\n' + (finding.waiver ? waiver_text(*finding.waiver) : "");
    const auto [known, is_new] = at.try_emplace(key, items.size());
    const auto name = base::for_terminal(finding.ruleset);
    if (is_new) {
      items.push_back({&finding, std::move(words), name});
    } else if (!name.empty()) {
      items[known->second].rule_sets += ", " + name;
    }
  }
  return items;
}

Counts tally(const std::vector<Item>& items) {
  std::vector<Finding> findings;
  for (const auto& item : items) {
    Finding bare;
    bare.status = item.finding->status;
    bare.optional = item.finding->optional;
    findings.push_back(std::move(bare));
  }
  return count(findings);
}

std::string with_count(std::string_view title, std::size_t count) {
  return std::string(title) + " (" + std::to_string(count) + ")";
}

/// "2 fail, 24 pass" without a line break between a number and its word.
std::string glued(std::string text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i)
    out += text[i] == ' ' && i > 0 && text[i - 1] != ',' ? unbroken(" ") : std::string(1, text[i]);
  return out;
}

class TextSheet {
 public:
  TextSheet(const Sheet& sheet, const Catalog& catalog, const TextOptions& options)
      : sheet_(sheet),
        catalog_(catalog),
        page_(options.width, options.colour),
        files_(in_order(sheet.files)),
        // What concerns the whole set must show in the first line, also when the set is one file.
        several_(sheet.files.size() != 1 || sheet.order || (sheet.judged && sheet.verdict != sheet.files.front().verdict)),
        common_(several_ ? common_folder(files_) : 0) {
    for (const auto* file : files_) read_ += file->error ? 0 : 1;
  }

  std::string quiet() {
    for (const auto* file : files_) quiet_line(*file);
    if (several_) overall_line();
    return page_.take();
  }

  std::string full() {
    if (several_) {
      overall_line();
      rules();
    }
    if (sheet_.order) set_section(page_, sheet_, catalog_, common_);
    for (const auto* file : files_) {
      if (several_ && (noisy(*file) || previous_noisy_)) page_.blank();
      if (several_ && file == files_.front()) page_.blank();
      whole_file(*file);
      previous_noisy_ = noisy(*file);
    }
    if (several_) notes_of_all();
    if (several_) skipped_of_all();
    if (!sheet_.order) set_findings();
    cautions(page_, files_);
    if (several_) summary();
    return page_.take();
  }

 private:
  static bool noisy(const FileSheet& file) {
    if (file.error) return true;
    const auto counts = sheet::count(file.findings);
    return counts.fail + counts.not_measured + counts.warn + counts.waived > 0;
  }

  void quiet_line(const FileSheet& file) {
    const auto name = unbroken(path_of(file));
    if (file.error) {
      page_.paragraph(0, "NO SHEET", 10, name + ": " + base::for_terminal(file.error->text), Ink::fail);
      return;
    }
    auto counts = tally(items_of(file.findings, catalog_));
    counts.pass = 0;
    const auto what = counts_text(counts);
    page_.paragraph(0, verdict_word(file.verdict), kVerdictHang, name + (what.empty() ? "" : ": " + glued(what)),
                    ink_of(file.verdict));
  }

  std::string totals() const {
    int pass = 0, warn = 0, failed = 0, none = 0;
    for (const auto* file : files_) {
      if (file->error) {
        ++none;
      } else {
        ++(file->verdict == Verdict::pass ? pass : file->verdict == Verdict::warn ? warn : failed);
      }
    }
    return plural(static_cast<std::int64_t>(files_.size()), "file", "files") + ": " + std::to_string(pass) + " pass, " +
           std::to_string(warn) + " warn, " + std::to_string(failed) + " fail, " + std::to_string(none) +
           " without a sheet";
  }

  void overall_line() {
    const auto of_the_set = about_the_set(sheet_.findings);
    const auto more = of_the_set.empty() ? of_the_set : "; " + of_the_set;
    page_.paragraph(0, verdict_word(sheet_.verdict), kVerdictHang, totals() + more, ink_of(sheet_.verdict));
  }

  void rules() {
    for (const auto& set : sheet_.rules) {
      std::string text = "Rules: " + base::for_terminal(set.name);
      if (!set.title.empty()) text += ", " + base::for_terminal(set.title);
      if (!set.origin.empty() && set.origin != "shipped") text += " (" + base::for_terminal(set.origin) + ")";
      if (!set.purpose.empty()) text += ". " + base::for_terminal(set.purpose);
      page_.line(kVerdictHang, text, Ink::faint);
    }
  }

  void whole_file(const FileSheet& file) {
    const auto name = unbroken(path_of(file));
    if (file.error) {
      page_.paragraph(0, "NO SHEET", 10, name, Ink::fail, Ink::strong);
      page_.line(10, base::for_terminal(file.error->text));
      return;
    }
    std::string head = name + ": " + facts_line(file.facts);
    if (!file.role.empty()) head += " (as " + base::for_terminal(file.role) + ")";
    page_.paragraph(0, verdict_word(file.verdict), kVerdictHang, head, ink_of(file.verdict), Ink::strong);
    const auto items = items_of(file.findings, catalog_);
    const auto counts = tally(items);
    if (!several_ || noisy(file)) {
      const auto numbers = counts_text(counts);
      page_.line(kVerdictHang,
                 std::string(verdict_meaning(file.verdict)) + (numbers.empty() ? "" : ": " + glued(numbers)));
    }
    if (!several_) rules();
    full_items("Fail", items, file, Ink::fail, [](const Finding& f) { return f.status == Status::fail; });
    full_items("Not measured", items, file, Ink::not_measured,
               [](const Finding& f) { return f.status == Status::not_measured && !f.optional; });
    full_items("Warn", items, file, Ink::warn, [](const Finding& f) { return f.status == Status::warn; });
    if (!several_) notes(items);
    waived(items);
    if (!several_) {
      passes(items);
      skipped(file);
    }
  }

  void heading(std::string_view title, std::size_t count, Ink ink) {
    if (!several_) page_.blank();
    page_.line(several_ ? 2 : 0, with_count(title, count), ink);
  }

  [[nodiscard]] int item_indent() const { return several_ ? 4 : 2; }

  /// The headline with the rule's id, by which it is waived or explained, and its rule sets where there are several.
  [[nodiscard]] std::string tagged(const Item& item) const {
    if (item.finding->measure.empty() && sheet_.rules.size() < 2) return item.headline;  // the id stands in it already
    std::string tag = base::for_terminal(item.finding->rule);
    if (sheet_.rules.size() > 1 && !item.rule_sets.empty()) tag += " in " + item.rule_sets;
    return item.headline + " [" + tag + "]";
  }

  template <class Which>
  static std::vector<const Item*> select(const std::vector<Item>& items, Which which) {
    std::vector<const Item*> chosen;
    for (const auto& item : items) {
      if (which(*item.finding)) chosen.push_back(&item);
    }
    return chosen;
  }

  template <class Which>
  void full_items(std::string_view title, const std::vector<Item>& items, const FileSheet& file, Ink ink, Which which) {
    const auto chosen = select(items, which);
    if (chosen.empty()) return;
    heading(title, chosen.size(), ink);
    for (const auto* item : chosen) {
      page_.line(item_indent(), tagged(*item), Ink::strong);
      details(*item->finding, file.facts.channels, file.path);
    }
  }

  void detail(std::string_view label, std::string_view text) {
    if (!text.empty()) page_.paragraph(item_indent() + 2, label, kDetailHang, text, Ink::faint);
  }

  void details(const Finding& finding, int channels, const std::string& path) {
    const auto shown = std::min(kPlacesShown, finding.where.size());
    for (std::size_t i = 0; i < shown; ++i) detail(i == 0 ? "where" : "", place(finding.where[i], channels));
    const auto total = std::max(finding.where_total, static_cast<std::int64_t>(finding.where.size()));
    if (shown > 0) detail("", and_more(shown, total));
    const bool said = std::any_of(finding.where.begin(), finding.where.begin() + static_cast<std::ptrdiff_t>(shown),
                                  [&finding](const Where& where) { return where.note == finding.note; });
    if (!said) detail("note", base::for_terminal(finding.note));
    // The reasons are the same in every file: the second file refers to the first.
    const auto key = finding.ruleset + '\n' + finding.rule;
    const auto [first, is_new] = explained_.try_emplace(key, Explained{path, finding.why, finding.remedy});
    const bool why_known = !is_new && first->second.path != path && first->second.why == finding.why;
    const bool remedy_known = !is_new && first->second.path != path && first->second.remedy == finding.remedy;
    if (!why_known) detail("why", base::for_terminal(finding.why));
    detail("move", move_by(finding));
    if (!remedy_known) {
      detail("do", base::for_terminal(finding.remedy));
    } else if (!finding.remedy.empty()) {
      detail("do", "as for " + unbroken(base::for_terminal(std::string_view(first->second.path).substr(common_))));
    }
  }

  void notes(const std::vector<Item>& items) {
    const auto optional =
        select(items, [](const Finding& f) { return f.status == Status::not_measured && f.optional; });
    const auto plain = select(items, [](const Finding& f) { return f.status == Status::note; });
    if (!plain.empty()) heading("Notes", plain.size(), Ink::strong);
    for (const auto* item : plain) page_.line(item_indent(), note_line(*item));
    if (!optional.empty()) heading("Not measured, not required", optional.size(), Ink::strong);
    for (const auto* item : optional) page_.line(item_indent(), tagged(*item));
  }

  [[nodiscard]] std::string note_line(const Item& item) const {
    const auto& finding = *item.finding;
    std::string text = tagged(item);
    const auto add = [&text](const std::string& more) {
      if (!more.empty()) text += (text.back() == '.' ? " " : ". ") + more;
    };
    add(base::for_terminal(finding.note));
    add(base::for_terminal(finding.remedy.empty() ? finding.why : finding.remedy));
    if (!finding.where.empty()) add("First at " + base::clock_time(finding.where.front().start_s));
    return text;
  }

  void waived(const std::vector<Item>& items) {
    const auto chosen = select(items, [](const Finding& f) { return f.status == Status::waived; });
    if (chosen.empty()) return;
    heading("Waived", chosen.size(), Ink::strong);
    for (const auto* item : chosen) {
      const auto& finding = *item->finding;
      std::string text = tagged(*item) + "; " + std::string(to_string(finding.before_waiver)) + ", waived: ";
      page_.line(item_indent(), text + (finding.waiver ? waiver_text(*finding.waiver) : "no reason given"));
    }
  }

  void passes(const std::vector<Item>& items) {
    const auto chosen = select(items, [](const Finding& f) { return f.status == Status::pass; });
    if (chosen.empty()) return;
    heading("Pass", chosen.size(), Ink::pass);
    std::string text;
    std::set<std::string> said;  // two rules may ask the same
    for (const auto* item : chosen) {
      const auto words = title_of(*item->finding, catalog_) + unbroken(" " + value_of(*item->finding, catalog_));
      if (said.insert(words).second) text += (text.empty() ? "" : "; ") + words;
    }
    page_.line(item_indent(), text);
  }

  void skipped(const FileSheet& file) {
    if (file.skipped.empty()) return;
    heading("Skipped, do not apply", file.skipped.size(), Ink::strong);
    std::vector<std::string> reasons;
    std::map<std::string, std::set<std::string>> rules_of;
    for (const auto& one : file.skipped) {
      const auto reason = base::for_terminal(one.reason);
      if (rules_of[reason].empty()) reasons.push_back(reason);
      rules_of[reason].insert(base::for_terminal(one.rule));
    }
    for (const auto& reason : reasons) {
      std::string text;
      for (const auto& rule : rules_of[reason]) text += (text.empty() ? "" : ", ") + rule;
      page_.line(item_indent(), text + ": " + reason);
    }
  }

  struct Noted {
    std::string name, value;
    std::optional<double> number;
  };

  /// Notes of many files in one row per rule: alike once, numbers by their extremes, else name by name.
  void notes_of_all() {
    std::vector<std::pair<const Finding*, std::vector<Noted>>> groups;
    std::map<std::string, std::size_t> at;
    for (const auto* file : files_) {
      for (const auto& item : items_of(file->findings, catalog_)) {
        const auto& finding = *item.finding;
        const bool unneeded = finding.status == Status::not_measured && finding.optional;
        if (finding.status != Status::note && !unneeded) continue;
        const auto key = finding.ruleset + '\n' + finding.rule + (unneeded ? "\n?" : "");
        const auto [known, is_new] = at.try_emplace(key, groups.size());
        if (is_new) groups.push_back({&finding, {}});
        auto value = value_of(finding, catalog_);
        const auto reason = reason_of(finding.outcome);
        if (!reason.empty()) value += " (" + reason + ")";
        groups[known->second].second.push_back({short_name(*file), std::move(value), number(finding.outcome)});
      }
    }
    if (groups.empty()) return;
    page_.blank();
    page_.line(0, with_count("Notes", groups.size()), Ink::strong);
    for (const auto& [finding, noted] : groups) page_.line(2, grouped(*finding, noted));
  }

  [[nodiscard]] std::string grouped(const Finding& finding, const std::vector<Noted>& noted) const {
    const std::string text = title_of(finding, catalog_) + ": ";
    std::vector<std::string> names, each;
    for (const auto& one : noted) {
      names.push_back(one.name);
      each.push_back(one.name + " " + one.value);
    }
    if (std::all_of(noted.begin(), noted.end(), [&](const Noted& one) { return one.value == noted.front().value; }))
      return text + noted.front().value + " in " + in_files(names);
    const bool numbers =
        std::all_of(noted.begin(), noted.end(), [](const Noted& one) { return one.number.has_value(); });
    if (!numbers || noted.size() <= kEachShown) return text + list_names(each, kNamesShown);
    const auto [low, high] = std::minmax_element(noted.begin(), noted.end(),
                                                 [](const Noted& a, const Noted& b) { return *a.number < *b.number; });
    return text + unbroken(low->value + " (" + low->name) + ") to " + unbroken(high->value + " (" + high->name) +
           "), " + plural(static_cast<std::int64_t>(noted.size()), "file", "files");
  }

  [[nodiscard]] std::string short_name(const FileSheet& file) const {
    return base::for_terminal(std::string_view(file.path).substr(common_));
  }

  [[nodiscard]] std::string in_files(const std::vector<std::string>& names) const {
    if (names.size() > 1 && names.size() == read_) return "every file";
    return list_names(names, kNamesShown);
  }

  void skipped_of_all() {
    std::vector<std::string> reasons;
    std::map<std::string, std::pair<std::set<std::string>, std::vector<std::string>>> by_reason;
    for (const auto* file : files_) {
      for (const auto& one : file->skipped) {
        const auto reason = base::for_terminal(one.reason);
        if (!by_reason.contains(reason)) reasons.push_back(reason);
        auto& [rules, names] = by_reason[reason];
        rules.insert(base::for_terminal(one.rule));
        const auto name = short_name(*file);
        if (names.empty() || names.back() != name) names.push_back(name);
      }
    }
    if (reasons.empty()) return;
    page_.blank();
    page_.line(0, "Skipped, do not apply", Ink::strong);
    for (const auto& reason : reasons) {
      const auto& [rules, names] = by_reason[reason];
      std::string text;
      for (const auto& rule : rules) text += (text.empty() ? "" : ", ") + rule;
      page_.line(2, text + ": " + reason + " (" + in_files(names) + ")");
    }
  }

  void set_findings() {
    if (sheet_.findings.empty()) return;
    page_.blank();
    page_.line(0, with_count("Of the whole set", sheet_.findings.size()), Ink::strong);
    for (const auto& item : items_of(sheet_.findings, catalog_)) {
      const auto& finding = *item.finding;
      std::string text = std::string(to_string(finding.status)) + ": " + tagged(item);
      if (!finding.files.empty()) {
        std::vector<std::string> names;
        for (const auto& file : finding.files) names.push_back(base::for_terminal(file));
        text += " (" + list_names(names, kNamesShown) + ")";
      }
      if (finding.waiver) text += "; waived: " + waiver_text(*finding.waiver);
      page_.line(2, text);
      const int hang = kDetailHang;
      for (std::size_t i = 0; i < std::min(kPlacesShown, finding.where.size()); ++i)
        page_.paragraph(4, i == 0 ? "where" : "", hang, place(finding.where[i], 0), Ink::faint);
      if (!finding.why.empty()) page_.paragraph(4, "why", hang, base::for_terminal(finding.why), Ink::faint);
      if (!finding.remedy.empty()) page_.paragraph(4, "do", hang, base::for_terminal(finding.remedy), Ink::faint);
    }
  }

  void summary() {
    page_.blank();
    const auto names = [this](auto which) {
      std::vector<std::string> all;
      for (const auto* file : files_) {
        if (which(*file)) all.push_back(short_name(*file));
      }
      return all;
    };
    overall_line();
    const auto row = [this](std::string_view label, const std::vector<std::string>& all) {
      if (!all.empty()) page_.paragraph(kVerdictHang, label, 10, list_names(all, 2 * kNamesShown));
    };
    row("no sheet", names([](const FileSheet& f) { return f.error.has_value(); }));
    row("fail", names([](const FileSheet& f) { return !f.error && f.verdict == Verdict::fail; }));
    row("warn", names([](const FileSheet& f) { return !f.error && f.verdict == Verdict::warn; }));
    page_.line(kVerdictHang, verdict_meaning(sheet_.verdict));
  }

  struct Explained {
    std::string path, why, remedy;
  };

  const Sheet& sheet_;
  const Catalog& catalog_;
  Page page_;
  std::vector<const FileSheet*> files_;
  bool several_;
  std::size_t common_;    ///< bytes of path that all files share: a folder and its slash
  std::size_t read_ = 0;  ///< files with a sheet
  bool previous_noisy_ = false;
  std::map<std::string, Explained> explained_;
};

/// Cautions of many files often differ in their figures only.
std::string without_figures(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if ((c < '0' || c > '9') && c != '.') out += c;
  }
  return out;
}

}  // namespace

std::string list_names(const std::vector<std::string>& names, std::size_t shown) {
  std::string text;
  for (std::size_t i = 0; i < names.size() && i < shown; ++i) text += (i > 0 ? ", " : "") + unbroken(names[i]);
  const auto rest = and_more(std::min(shown, names.size()), static_cast<std::int64_t>(names.size()));
  return rest.empty() ? text : text + " " + rest;
}

std::size_t common_folder(const std::vector<const FileSheet*>& files) {
  if (files.empty()) return 0;
  std::string_view common = files.front()->path;
  for (const auto* file : files) {
    const auto differs = std::mismatch(common.begin(), common.end(), file->path.begin(), file->path.end()).first;
    common = common.substr(0, static_cast<std::size_t>(differs - common.begin()));
  }
  const auto slash = common.rfind('/');
  return slash == std::string_view::npos ? 0 : slash + 1;
}

void cautions(Page& page, const std::vector<const FileSheet*>& files) {
  struct Group {
    std::string text;  // as the first file has it
    bool alike = true;
    std::vector<std::string> names;
  };
  std::vector<Group> groups;
  std::map<std::string, std::size_t> at;
  const auto common = files.size() > 1 ? common_folder(files) : 0;
  std::size_t read = 0;
  for (const auto* file : files) {
    read += file->error ? 0 : 1;
    for (const auto& caution : file->cautions) {
      auto text = base::for_terminal(caution.text);
      if (!caution.source.empty()) text += " [" + base::for_terminal(caution.source) + "]";
      const auto [known, is_new] = at.try_emplace(without_figures(text), groups.size());
      if (is_new) groups.push_back({text, true, {}});
      auto& group = groups[known->second];
      group.alike = group.alike && group.text == text;
      const auto name = base::for_terminal(std::string_view(file->path).substr(common));
      if (group.names.empty() || group.names.back() != name) group.names.push_back(name);
    }
  }
  if (groups.empty()) return;
  page.blank();
  page.line(0, "Caution", Ink::strong);
  for (const auto& group : groups) {
    std::string text =
        group.names.size() == read ? group.text : list_names(group.names, kNamesShown) + ": " + group.text;
    if (!group.alike) text += " (Figures of " + unbroken(group.names.front()) + "; each file has its own.)";
    page.line(2, text);
  }
}

}  // namespace sheet

std::string render_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options) {
  if (!sheet.pairs.empty() && !sheet.order) return sheet::pairs_text(sheet, catalog, options);
  if (sheet.song) return sheet::song_text(sheet, catalog, options, options.quiet);
  if (!sheet.judged) return sheet::measured_text(sheet, catalog, options);
  sheet::TextSheet text(sheet, catalog, options);
  return options.quiet ? text.quiet() : text.full();
}

}  // namespace sendworthy

// Findings about a set or a song, by what they say: what speaks against it first, what is in order last.
#include <algorithm>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "base/text.h"
#include "sheet/phrases.h"
#include "sheet/text_parts.h"

namespace sendworthy::sheet {
namespace {

constexpr std::size_t kPlacesShown = 4, kNamesShown = 6;
constexpr int kHang = 7;

std::string with_count(std::string_view title, std::size_t count) { return std::string(title) + " (" + std::to_string(count) + ")"; }

class Groups {
 public:
  Groups(Page& page, const std::vector<Finding>& findings, const Catalog& catalog, const FileNames& name) : page_(page), findings_(findings), catalog_(catalog), name_(name) {}

  void write() {
    group("Fail", Ink::fail, [](const Finding& f) { return f.status == Status::fail; });
    group("Not measured", Ink::not_measured, [](const Finding& f) { return f.status == Status::not_measured && !f.optional; });
    group("Warn", Ink::warn, [](const Finding& f) { return f.status == Status::warn; });
    group("Notes", Ink::strong, [](const Finding& f) { return f.status == Status::note; });
    group("Not measured, not required", Ink::strong, [](const Finding& f) { return f.status == Status::not_measured && f.optional; });
    group("Waived", Ink::strong, [](const Finding& f) { return f.status == Status::waived; });
    passes();
  }

 private:
  template <class Which>
  void group(std::string_view title, Ink ink, Which which) {
    std::vector<const Finding*> chosen;
    for (const auto& one : findings_) {
      if (which(one)) chosen.push_back(&one);
    }
    if (chosen.empty()) return;
    page_.blank();
    page_.line(0, with_count(title, chosen.size()), ink);
    std::map<std::string, bool> explained;
    for (const auto* one : chosen) {
      page_.line(2, headline(*one, catalog_) + " [" + base::for_terminal(one->rule) + "]", Ink::strong);
      std::vector<std::string> names;
      for (const auto& file : one->files) names.push_back(name_(file));
      if (!names.empty()) detail(names.size() == 1 ? "file" : "files", list_names(names, kNamesShown));
      const auto shown = std::min(kPlacesShown, one->where.size());
      for (std::size_t i = 0; i < shown; ++i) {
        auto where = one->where[i];
        if (!where.file.empty()) where.file = name_(where.file);
        detail(i == 0 ? "where" : "", place(where, 0));
      }
      if (shown > 0) detail("", and_more(shown, std::max(one->where_total, static_cast<std::int64_t>(one->where.size()))));
      if (one->waiver) detail("waived", std::string(to_string(one->before_waiver)) + "; " + waiver_text(*one->waiver));
      // A rule gives its reasons once.
      if (std::exchange(explained[one->rule + '\n' + one->why], true)) continue;
      detail("why", base::for_terminal(one->why));
      detail("do", base::for_terminal(one->remedy));
    }
  }

  void detail(std::string_view label, std::string_view text) {
    if (!text.empty()) page_.paragraph(4, label, kHang, text, Ink::faint);
  }

  /// One row a rule: its reading where it is the same for all, else each file with its own.
  void passes() {
    std::vector<std::string> rules;
    std::map<std::string, std::vector<const Finding*>> by_rule;
    std::size_t count = 0;
    for (const auto& one : findings_) {
      if (one.status != Status::pass) continue;
      ++count;
      if (by_rule[one.rule].empty()) rules.push_back(one.rule);
      by_rule[one.rule].push_back(&one);
    }
    if (count == 0) return;
    page_.blank();
    page_.line(0, with_count("Pass", count), Ink::pass);
    for (const auto& rule : rules) {
      const auto& all = by_rule[rule];
      const auto value = value_of(*all.front(), catalog_);
      const bool alike = std::ranges::all_of(all, [&](const Finding* one) { return value_of(*one, catalog_) == value; });
      std::string text = title_of(*all.front(), catalog_);
      if (rule == "item-missing") {
        text += ": " + plural(static_cast<std::int64_t>(all.size()), "item", "items") + " there";
      } else if (alike) {
        text += ": " + value + (all.size() > 1 ? " (" + std::to_string(all.size()) + " times)" : "");
      } else {
        std::vector<std::string> each;
        for (const auto* one : all) each.push_back((one->files.empty() ? "" : name_(one->files.front()) + " ") + value_of(*one, catalog_));
        text += ": ";
        for (std::size_t i = 0; i < std::min(kNamesShown, each.size()); ++i) text += (i == 0 ? "" : ", ") + each[i];
        const auto rest = and_more(std::min(kNamesShown, each.size()), static_cast<std::int64_t>(each.size()));
        if (!rest.empty()) text += " " + rest;
      }
      page_.line(2, text);
    }
  }

  Page& page_;
  const std::vector<Finding>& findings_;
  const Catalog& catalog_;
  const FileNames& name_;
};

}  // namespace

void finding_groups(Page& page, const std::vector<Finding>& findings, const Catalog& catalog, const FileNames& name) { Groups(page, findings, catalog, name).write(); }

}  // namespace sendworthy::sheet

// Writes docs/measurements.md, docs/rules.md and docs/findings.md from the catalog, the shipped rule sets and the rules about
// sets of files and songs.
//
//   make_reference SOURCE            writes the files below SOURCE/docs
//   make_reference --check SOURCE    exit 1 when a file there differs from what would be written
//   make_reference --ids [--units]   catalog ids, one a line: id, "available" or "not yet", and the unit; tab between
#include <cstdio>
#include <fstream>
#include <iterator>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include "base/text.h"
#include "delivery/set_rules.h"
#include "song/findings.h"

namespace {

using namespace sendworthy;

/// Text that Markdown shows as it is, also inside a table.
std::string plain(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '|' || c == '*' || c == '_' || c == '`' || c == '[' || c == ']' || c == '<' || c == '>' || c == '\\') out += '\\';
    out += c == '\n' ? ' ' : c;
  }
  return out;
}

std::string_view unit_words(const CatalogEntry& entry) {
  switch (entry.unit) {
    case Unit::text: return "text";
    case Unit::list: return "list";
    case Unit::boolean: return "yes or no";
    case Unit::ratio: return "ratio";
    default: return to_string(entry.unit);
  }
}

std::string measurements_page() {
  std::string out =
      "# Measurements\n\n"
      "Made from the catalog by `tests/meta/make_reference.cpp`; a test fails when this page is out of date. The short\n"
      "list, with what is reserved for later, is in [contract.md](contract.md). `sendworthy explain ID` shows the same words.\n";
  std::map<Group, std::vector<const CatalogEntry*>> groups;
  std::vector<Group> order;
  for (const CatalogEntry* entry : catalog().entries) {
    if (groups[entry->group].empty()) order.push_back(entry->group);
    groups[entry->group].push_back(entry);
  }
  std::string reserved;
  for (const Group group : order) {
    std::string body;
    for (const CatalogEntry* entry : groups[group]) {
      if (!entry->available) {
        reserved += fmt::format("{}`{}`", reserved.empty() ? "" : ", ", entry->id);
        continue;
      }
      body += fmt::format("\n### {}\n\n`{}` · {}", plain(entry->title), entry->id, unit_words(*entry));
      if (entry->decimals > 0) {
        body += fmt::format(" · {} decimal{}", entry->decimals, entry->decimals == 1 ? "" : "s");
      }
      if (entry->better == Better::lower) body += " · lower is better";
      if (entry->better == Better::higher) body += " · higher is better";
      body += "\n";
      const auto paragraph = [&](std::string_view title, std::string_view text) {
        if (!text.empty()) body += fmt::format("\n- **{}.** {}", title, plain(text));
      };
      paragraph("What it says", entry->what);
      paragraph("How", entry->how);
      paragraph("Source", entry->source);
      paragraph("What it cannot know", entry->caveat);
      paragraph("What to do", entry->act);
      for (const Parameter& parameter : entry->parameters) {
        if (!parameter.choices.empty()) {
          body += fmt::format("\n- **Parameter `{}`.** {}: {}; without it {}.", parameter.name, plain(parameter.what),
                              plain(accepted_by(parameter)), plain(fallback_in_words(parameter)));
          continue;
        }
        body += fmt::format("\n- **Parameter `{}`.** {} {}{}{}, from {} to {}.", parameter.name, plain(parameter.what),
                            base::shortest(parameter.fallback), parameter.unit.empty() ? "" : " ", parameter.unit,
                            base::shortest(parameter.lowest), base::shortest(parameter.highest));
      }
      body += "\n";
    }
    if (!body.empty()) out += fmt::format("\n## {}\n{}", to_string(group), body);
  }
  out += fmt::format("\n## Not yet\n\nNamed in the contract and not measured by this version: {}.\n",
                     reserved.empty() ? "none" : reserved);
  return out;
}

std::string number_with_unit(double number, const CatalogEntry* entry) {
  const std::string_view unit = entry == nullptr ? "" : to_string(entry->unit);
  return base::shortest(number) + (unit.empty() || unit == "count" ? "" : fmt::format(" {}", unit));
}

std::string value_words(const Value& value, const CatalogEntry* entry) {
  if (const auto* flag = std::get_if<bool>(&value)) return *flag ? "yes" : "no";
  if (const auto* number = std::get_if<double>(&value)) return number_with_unit(*number, entry);
  return "“" + plain(std::get<std::string>(value)) + "”";
}

std::string comparison_words(const Comparison& comparison, const CatalogEntry* entry) {
  const auto joined = [&] {
    std::string text;
    for (const std::string& item : comparison.items) text += (text.empty() ? "" : ", ") + fmt::format("“{}”", plain(item));
    return text;
  };
  std::string limit;
  switch (comparison.kind) {
    case LimitKind::above: limit = "above " + number_with_unit(comparison.number, entry); break;
    case LimitKind::below: limit = "below " + number_with_unit(comparison.number, entry); break;
    case LimitKind::multiple_of: limit = "unless a multiple of " + number_with_unit(comparison.number, entry); break;
    case LimitKind::unless:
      for (const Value& value : comparison.accepted) limit += (limit.empty() ? "unless " : " or ") + value_words(value, entry);
      break;
    case LimitKind::matches: limit = "unless it matches " + joined(); break;
    case LimitKind::forbid: limit = "if it contains " + joined(); break;
    case LimitKind::require: limit = "unless it contains " + joined(); break;
    case LimitKind::none: limit = "always"; break;
  }
  return fmt::format("{} {}", to_string(comparison.status), limit);
}

std::string condition_words(const Rule& rule) {
  std::vector<std::string> parts;
  const auto list = [&](std::string_view title, const auto& items) {
    if (items.empty()) return;
    std::string text;
    for (const auto& item : items) text += (text.empty() ? "" : " or ") + fmt::format("{}", item);
    parts.push_back(fmt::format("{} {}", title, plain(text)));
  };
  list("channels", rule.conditions.channels);
  list("role", rule.conditions.roles);
  list("container", rule.conditions.containers);
  if (rule.conditions.min_duration_s) {
    parts.push_back(fmt::format("{} s or longer", base::shortest(*rule.conditions.min_duration_s)));
  }
  if (rule.optional) parts.push_back("optional");
  std::string out;
  for (const std::string& part : parts) out += (out.empty() ? "" : "; ") + part;
  return out;
}

/// The rule set a rule's line comes from: its limits' origin, since these are what a reader asks about.
std::string origin_of(const Rule& rule, const std::string& own) {
  std::string origin = own;
  for (const auto& [key, from] : rule.origins) {
    if (key == "measure") origin = from;
  }
  for (const auto& [key, from] : rule.origins) {
    if (key.starts_with("fail_") || key.starts_with("warn_") || key.starts_with("note_")) origin = from;
  }
  return origin;
}

/// False when a shipped set does not load; the reason goes to stderr.
bool rules_page(std::string& out) {
  out =
      "# Shipped rule sets\n\n"
      "Made from `rules/*.toml` by `tests/meta/make_reference.cpp`; a test fails when this page is out of date. Each number has\n"
      "its source, or says that it is common practice without one. The keys are explained in [contract.md](contract.md#rule-sets).\n"
      "`sendworthy rules NAME` shows the same with the origin of every key.\n";
  const RuleSetFolders folders;  // neither a user's folder nor another shipped one: the sets inside the library
  std::string index, body;
  for (const RuleSetListing& listing : list_rule_sets(folders, catalog())) {
    const Result<RuleSet> loaded = load_rule_set(listing.name, folders, catalog());
    if (!loaded) {
      fmt::print(stderr, "{}\n", to_string(loaded.error()));
      return false;
    }
    const RuleSet& set = *loaded;
    index += fmt::format("- [`{}`](#{}): {}\n", set.name, set.name, plain(set.purpose));
    body += fmt::format("\n## {}\n\n**{}.** {}\n", set.name, plain(set.title), plain(set.purpose));
    if (!set.extends.empty()) {
      std::string parents;
      for (const std::string& parent : set.extends) parents += (parents.empty() ? "" : ", ") + fmt::format("`{}`", parent);
      body += fmt::format("\nExtends {}.\n", parents);
    }
    if (!set.sources.empty()) {
      body += "\nSources:\n\n";
      for (const std::string& source : set.sources) body += fmt::format("- {}\n", plain(source));
    }
    body += "\n| rule | measure | verdict | applies to | from | source |\n|---|---|---|---|---|---|\n";
    for (const Rule& rule : set.rules) {
      if (!rule.enabled) continue;
      const CatalogEntry* entry = catalog().find(rule.measure.id);
      std::string measure = fmt::format("`{}`", key_of(rule.measure));
      if (rule.compare_to) measure += fmt::format(" − `{}`", key_of(*rule.compare_to));
      std::string limits;
      for (const Comparison& comparison : rule.comparisons) {
        limits += (limits.empty() ? "" : "; ") + comparison_words(comparison, entry);
      }
      if (rule.tolerance > 0) limits += fmt::format("; tolerance {}", number_with_unit(rule.tolerance, entry));
      body += fmt::format("| `{}` | {} | {} | {} | {} | {} |\n", rule.id, measure, limits, condition_words(rule),
                          origin_of(rule, set.name), plain(rule.source));
    }
  }
  out += "\n" + index + body;
  return true;
}

std::string findings_page() {
  std::string out =
      "# Findings about sets and songs\n\n"
      "Made from the tables of rules by `tests/meta/make_reference.cpp`; a test fails when this page is out of date. On a sheet they stand\n"
      "under the rule set `order` or `plan`. `sendworthy explain ID` shows the same words.\n";
  const auto chapter = [&](std::string_view title, std::string_view ruleset, std::span<const judge::SetRule> rules) {
    out += fmt::format("\n## {}\n", title);
    for (const auto& rule : rules) {
      out += fmt::format("\n### {}\n\n`{}/{}` · {}\n", plain(rule.title), ruleset, rule.id, to_string(rule.severity));
      for (const auto& [heading, text] : {std::pair{"What it says", rule.what}, {"How", rule.how}, {"What it cannot know", rule.caveat},
                                          {"Why", rule.why}, {"What to do", rule.remedy}, {"Source", rule.source}}) {
        out += fmt::format("\n- **{}.** {}", heading, plain(text));
      }
      out += "\n";
    }
  };
  chapter("A set of files against its order", delivery::kOrderRules, delivery::set_rules());
  chapter("A song against its plan", song::kPlanRules, song::plan_rules());
  return out;
}

std::string read(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

int ids(bool with_units) {
  for (const CatalogEntry* entry : catalog().entries) {
    fmt::print("{}\t{}", entry->id, entry->available ? "available" : "not yet");
    if (with_units) fmt::print("\t{}", to_string(entry->unit));
    fmt::print("\n");
  }
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> arguments(argv + 1, argv + argc);
  if (!arguments.empty() && arguments[0] == "--ids") return ids(arguments.size() > 1 && arguments[1] == "--units");
  const bool check = !arguments.empty() && arguments[0] == "--check";
  if (arguments.size() != (check ? 2u : 1u)) {
    fmt::print(stderr, "usage: make_reference [--check] SOURCE | --ids [--units]\n");
    return 2;
  }
  std::string rules;
  if (!rules_page(rules)) return 1;
  const std::string docs = arguments.back() + "/docs/";
  int result = 0;
  for (const auto& [name, text] : {std::pair<std::string, std::string>{"measurements.md", measurements_page()}, {"rules.md", rules}, {"findings.md", findings_page()}}) {
    if (check) {
      if (read(docs + name) != text) {
        fmt::print(stderr, "docs/{} is out of date; run make_reference on the source folder and look at the difference\n", name);
        result = 1;
      }
    } else {
      std::ofstream file(docs + name, std::ios::binary);
      file << text;
      if (!file.flush()) {
        fmt::print(stderr, "cannot write {}\n", docs + name);
        result = 1;
      }
    }
  }
  return result;
}

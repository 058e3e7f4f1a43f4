// sendworthy explain: what a measurement, a rule or a word of the sheet means.
#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <algorithm>
#include <iterator>
#include <span>

#include "base/text.h"
#include "cli/command.h"
#include "cli/explain_statuses.h"
#include "cli/json_text.h"
#include "cli/rule_words.h"
#include "cli/sheet_output.h"
#include "delivery/set_rules.h"
#include "song/findings.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "explain",
      "explain [options] [ID]...",
      "Explains a measurement, a rule or a word of the sheet: what it says, how it is found, what it cannot know, what "
      "to "
      "do, and the source. Without an ID it lists all of them.",
      {
          {"sendworthy explain true_peak", "a measurement"},
          {"sendworthy explain premaster/true-peak", "a rule of one rule set; \"true-peak\" alone: in all of them"},
          {"sendworthy explain not measured", "a status"},
          {"sendworthy explain --rules ./label.toml label/peak", "a rule of a rule set of your own"},
      },
      {"Capitals do not matter, and in a status neither do spaces, dashes and underscores.",
       "Exit codes: 0 explained; 2 an unknown ID, with the nearest one; 3 the output could not be written."}};
  return kManual;
}

/// Headings with texts, in the order they are printed; `key` is the JSON key.
struct Explanation {
  struct Part {
    std::string key, heading;
    std::vector<std::string> texts;
    bool list = false;  ///< in JSON an array
  };
  std::string kind, id, title;
  std::vector<Part> parts;

  void add(std::string key, std::string heading, std::string_view text) {
    if (!text.empty()) parts.push_back({std::move(key), std::move(heading), {std::string(text)}, false});
  }
  void add_list(std::string key, std::string heading, std::vector<std::string> texts) {
    if (!texts.empty()) parts.push_back({std::move(key), std::move(heading), std::move(texts), true});
  }
};

/// Those named, which may be paths; then all that load by name, the user's before the shipped ones of the same name.
Result<std::vector<RuleSet>> all_rule_sets(const std::vector<std::string>& named) {
  std::vector<RuleSet> sets;
  for (const auto& name : named) {
    auto set = named_rule_set(name);
    if (!set) return tl::unexpected(set.error());
    sets.push_back(std::move(*set));
  }
  for (const auto& listing : list_rule_sets(rule_set_folders(), catalog())) {
    const bool named_too = std::any_of(sets.begin(), sets.end(), [&](const RuleSet& set) { return set.name == listing.name; });
    if (listing.error || named_too) continue;
    if (auto set = load_rule_set(listing.name, rule_set_folders(), catalog())) sets.push_back(std::move(*set));
  }
  return sets;
}

std::string joined(const std::vector<std::string>& words, std::string_view between) {
  std::string text;
  for (const auto& word : words) text += (text.empty() ? std::string() : std::string(between)) + word;
  return text;
}

std::string limits_of(const Rule& rule) {
  auto words = comparisons_in_words(rule, catalog());
  for (auto& condition : conditions_in_words(rule)) words.push_back(std::move(condition));
  return joined(words, "; ");
}

/// Whether two of its measurements can be taken from each other; texts and truth values are held against each other.
bool is_number(const Rule& rule) {
  const auto* entry = catalog().find(rule.measure.id);
  return entry == nullptr || (entry->unit != Unit::text && entry->unit != Unit::list && entry->unit != Unit::boolean);
}

/// "side_level_low(below_hz=150)", "header_consistency less header_slips".
std::string measured_by(const Rule& rule) {
  auto text = key_of(rule.measure);
  if (rule.compare_to) text += (is_number(rule) ? " less " : " against ") + key_of(*rule.compare_to);
  return text;
}

Explanation explain_measurement(const CatalogEntry& entry, const std::vector<RuleSet>& sets) {
  Explanation text{"measurement", std::string(entry.id), std::string(entry.title), {}};
  if (!entry.available) {
    text.add("not_yet", "Not yet", "The name is reserved; this version does not measure it.");
  }
  text.add("group", "Group", to_string(entry.group));
  text.add("unit", "Unit", to_string(entry.unit));
  text.add("what", "What it says", entry.what);
  text.add("how", "How it is found", entry.how);
  text.add("caveat", "What it cannot know", entry.caveat);
  text.add("act", "What to do", entry.act);
  text.add("source", "Source", entry.source);
  std::vector<std::string> parameters;
  for (const auto& parameter : entry.parameters) {
    parameters.push_back(std::string(parameter.name) + ": " + std::string(parameter.what) + " (" +
                         accepted_by(parameter) + "; without it " + fallback_in_words(parameter) + ")");
  }
  text.add_list("parameters", "Parameters a rule may set", std::move(parameters));
  std::vector<std::string> rules;
  for (const auto& set : sets) {
    for (const auto& rule : set.rules) {
      if (rule.enabled && rule.measure.id == entry.id)
        rules.push_back(set.name + "/" + rule.id + (measured_by(rule) == entry.id ? "" : ", by " + measured_by(rule)) + ": " +
                        limits_of(rule));
    }
  }
  text.add_list("rules", "Judged by", std::move(rules));
  return text;
}

std::string what_of(const Rule& rule, const CatalogEntry& entry) {
  std::string text(entry.what);
  const auto* other = rule.compare_to ? catalog().find(rule.compare_to->id) : nullptr;
  if (other != nullptr) text += (is_number(rule) ? " Taken off: " : " Held against: ") + std::string(other->what);
  return text;
}

/// A rule of one's own may leave these out; that is better said than passed over.
std::string given(std::string text) { return text.empty() ? "The rule set does not say." : text; }

/// One explanation per different wording; the sets that share it are named.
std::vector<Explanation> explain_rule(std::string_view set_name, std::string_view rule_id,
                                      const std::vector<RuleSet>& sets) {
  std::vector<Explanation> found;
  for (const auto& set : sets) {
    if (!set_name.empty() && set.name != set_name) continue;
    for (const auto& rule : set.rules) {
      if (rule.id != rule_id || !rule.enabled) continue;
      const auto* entry = catalog().find(rule.measure.id);
      Explanation text{"rule", std::string(rule_id), "", {}};
      text.add_list("rulesets", "In", {set.name});
      text.add("measure", "Looks at", measured_by(rule) + (entry != nullptr ? ": " + std::string(entry->title) : ""));
      if (entry != nullptr) text.add("what", "What that says", what_of(rule, *entry));
      if (entry != nullptr) text.add("how", "How it is found", entry->how);
      text.add_list("limits", "Limits", comparisons_in_words(rule, catalog()));
      text.add_list("conditions", "Applies", conditions_in_words(rule));
      text.add_list("allowances", "Allows", allowances_in_words(rule, catalog()));
      text.add("why", "Why", given(without_amounts(rule.why)));
      if (entry != nullptr) text.add("caveat", "What it cannot know", entry->caveat);
      text.add("act", "What to do", given(without_amounts(rule.remedy)));
      text.add("source", "Source", given(rule.source));
      const auto same = std::find_if(found.begin(), found.end(), [&](const Explanation& other) {
        return std::equal(other.parts.begin() + 1, other.parts.end(), text.parts.begin() + 1, text.parts.end(),
                          [](const auto& a, const auto& b) { return a.key == b.key && a.texts == b.texts; });
      });
      if (same != found.end()) {
        same->parts[0].texts.push_back(set.name);
      } else {
        found.push_back(std::move(text));
      }
    }
  }
  for (auto& text : found) {
    text.title = "a rule of " + joined(text.parts[0].texts, ", ");
    if (!set_name.empty()) text.id = std::string(set_name) + "/" + std::string(rule_id);
  }
  return found;
}

std::string_view title_of(const WordEntry& word) {
  if (word.kind == "status") return "a status on the sheet";
  if (word.kind == "error") return "why an input has no sheet";
  return word.kind == "finding" ? "a finding that comes from no rule" : "a word of the sheet";
}

Explanation explain_word(const WordEntry& word) {
  Explanation text{std::string(word.kind),
                   std::string(word.id),
                   std::string(title_of(word)),
                   {}};
  text.add("what", "What it says", word.what);
  text.add("how", "When it is given", word.how);
  text.add("caveat", "What it cannot know", word.caveat);
  text.add("act", "What to do", word.act);
  text.add("source", "Source", "the contract of this program (docs/contract.md)");
  return text;
}

/// Findings that stand on no measurement of one file: a table of rules, and how explain speaks of it.
struct SetRules {
  std::string_view kind, ruleset, about, heading, key;
  std::span<const delivery::SetRule> rules;

  [[nodiscard]] std::vector<std::string> ids() const {
    std::vector<std::string> ids;
    for (const auto& rule : rules) ids.emplace_back(rule.id);
    return ids;
  }
};

const std::vector<SetRules>& all_set_rules() {
  static const std::vector<SetRules> kAll{
      {"set", delivery::kOrderRules, "a finding about a set of files", "Findings about a set of files", "set_findings", delivery::set_rules()},
      {"song", song::kPlanRules, "a finding about a song and its plan", "Findings about a song and its plan", "song_findings", song::plan_rules()}};
  return kAll;
}

Explanation explain_set_rule(const SetRules& rules, const delivery::SetRule& rule) {
  Explanation text{std::string(rules.kind), std::string(rule.id), std::string(rule.title) + ", " + std::string(rules.about), {}};
  text.add("what", "What it says", rule.what);
  text.add("how", "How it is found", rule.how);
  text.add("why", "Why", rule.why);
  text.add("caveat", "What it cannot know", rule.caveat);
  text.add("act", "What to do", rule.remedy);
  text.add("source", "Source", rule.source);
  return text;
}

std::string with_spaces(std::string_view id) {
  std::string text(id);
  for (auto& c : text) {
    if (c == '-' || c == '_') c = ' ';
  }
  return text;
}

std::vector<Explanation> explain_as_written(const std::string& id, const std::vector<RuleSet>& sets) {
  std::vector<Explanation> found;
  // A key of the sheet, `mono_fold_loss_low(below_hz=150)`, is explained by its measurement.
  if (const auto* entry = catalog().find(id.substr(0, id.find('('))))
    found.push_back(explain_measurement(*entry, sets));
  const auto slash = id.find('/');
  for (auto& rule : explain_rule(slash == std::string::npos ? std::string() : id.substr(0, slash),
                                 slash == std::string::npos ? id : id.substr(slash + 1), sets)) {
    found.push_back(std::move(rule));
  }
  for (const auto& word : sheet_words()) {
    if (with_spaces(id) == with_spaces(word.id)) found.push_back(explain_word(word));
  }
  for (const auto& rules : all_set_rules()) {
    for (const auto& rule : rules.rules) {
      if (id == rule.id || id == std::string(rules.ruleset) + "/" + std::string(rule.id)) found.push_back(explain_set_rule(rules, rule));
    }
  }
  return found;
}

std::string small_letters(std::string text) {
  for (auto& c : text) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return text;
}

/// Everything that goes by this name; one name may be a measurement and a rule. The sheet writes its verdict in capitals, and
/// some people all names.
std::vector<Explanation> explain(const std::string& id, const std::vector<RuleSet>& sets) {
  auto found = explain_as_written(id, sets);
  if (!found.empty()) return found;
  return explain_as_written(small_letters(id), sets);
}

std::string nearest_id(const std::string& id, const std::vector<RuleSet>& sets) {
  std::vector<std::string> names;
  for (const auto* entry : catalog().entries) names.emplace_back(entry->id);
  for (const auto& word : sheet_words()) names.emplace_back(word.id);
  for (const auto& rules : all_set_rules()) std::ranges::move(rules.ids(), std::back_inserter(names));
  for (const auto& set : sets) {
    names.push_back(set.name);
    for (const auto& rule : set.rules) {
      names.push_back(rule.id);
      if (id.find('/') != std::string::npos) names.push_back(set.name + "/" + rule.id);
    }
  }
  const std::vector<std::string_view> candidates(names.begin(), names.end());
  return std::string(base::nearest(id, candidates));
}

std::string miss(const std::string& id, const std::vector<RuleSet>& sets) {
  for (const auto& set : sets) {
    if (set.name == id || set.name == small_letters(id))
      return "\"" + set.name + "\" is a rule set; \"sendworthy rules " + set.name + "\" shows its rules";
  }
  const auto near = nearest_id(id, sets);
  return "nothing is called \"" + id + "\"" +
         (near.empty() ? std::string("; \"sendworthy explain\" lists what there is") : "; did you mean \"" + near + "\"?");
}

std::string as_text(const std::vector<Explanation>& explanations) {
  std::string text;
  for (const auto& each : explanations) {
    if (!text.empty()) text += "\n";
    text += paragraph(base::for_terminal(each.id) + ": " + base::for_terminal(each.title));
    for (const auto& part : each.parts) {
      if (part.key == "rulesets") continue;  // the title has said it
      text += "\n" + part.heading + "\n";
      for (const auto& line : part.texts) text += paragraph(base::for_terminal(line), 2);
    }
  }
  return text;
}

std::string as_json(const std::vector<Explanation>& explanations) {
  JsonText json;
  json.open_object();
  json.member("schema", 1);
  json.key("explanations");
  json.open_array();
  for (const auto& each : explanations) {
    json.open_object();
    json.member("kind", each.kind);
    json.member("id", each.id);
    json.member("title", each.title);
    for (const auto& part : each.parts) {
      if (part.list) {
        json.member(part.key, part.texts);
      } else {
        json.member(part.key, part.texts.front());
      }
    }
    json.close_object();
  }
  json.close_array();
  json.close_object();
  return json.finished();
}

std::vector<std::string> rule_ids(const std::vector<RuleSet>& sets) {
  std::vector<std::string> ids;
  for (const auto& set : sets) {
    for (const auto& rule : set.rules) {
      if (rule.enabled) ids.push_back(rule.id);
    }
  }
  std::sort(ids.begin(), ids.end());
  ids.erase(std::unique(ids.begin(), ids.end()), ids.end());
  return ids;
}

constexpr int kIdColumns = 31;

struct Kind {
  std::string_view kind, heading, key;
};
constexpr Kind kKinds[] = {{"status", "Statuses", "statuses"},
                           {"word", "Other words of the sheet", "words"},
                           {"finding", "Findings that come from no rule", "findings"},
                           {"error", "Inputs without a sheet", "errors"}};

std::string list_as_text(const std::vector<RuleSet>& sets) {
  std::string text = "What \"sendworthy explain ID\" knows.\n";
  std::string group;
  for (const auto* entry : catalog().entries) {
    if (to_string(entry->group) != group) {
      group = to_string(entry->group);
      text += "\n" + group + "\n";
    }
    text += term_row(entry->id, std::string(entry->title) + (entry->available ? "" : " (not yet)"), 2, kIdColumns);
  }
  text += "\nRules\n" + paragraph(joined(rule_ids(sets), ", "), 2);
  for (const auto& rules : all_set_rules()) text += "\n" + std::string(rules.heading) + "\n" + paragraph(joined(rules.ids(), ", "), 2);
  for (const auto& [kind, heading, key] : kKinds) {
    std::vector<std::string> words;
    for (const auto& word : sheet_words()) {
      if (word.kind == kind) words.emplace_back(word.id);
    }
    text += "\n" + std::string(heading) + "\n" + paragraph(joined(words, ", "), 2);
  }
  return text;
}

std::string list_as_json(const std::vector<RuleSet>& sets) {
  JsonText json;
  json.open_object();
  json.member("schema", 1);
  json.key("measurements");
  json.open_array();
  for (const auto* entry : catalog().entries) {
    json.open_object();
    json.member("id", entry->id);
    json.member("title", entry->title);
    json.member("group", to_string(entry->group));
    json.member("unit", to_string(entry->unit));
    json.member("available", entry->available);
    json.close_object();
  }
  json.close_array();
  json.member("rules", rule_ids(sets));
  for (const auto& rules : all_set_rules()) json.member(rules.key, rules.ids());
  for (const auto& [kind, heading, key] : kKinds) {
    json.key(key);
    json.open_array();
    for (const auto& word : sheet_words()) {
      if (word.kind == kind) json.text(word.id);
    }
    json.close_array();
  }
  json.close_object();
  return json.finished();
}

}  // namespace

int run_explain(const Words& words) {
  std::vector<std::string> ids, named;
  OutputOptions output;
  Arguments arguments(manual());
  arguments.operands(ids);
  arguments.values("--rules", "NAME|PATH", named, "a rule set that lies elsewhere; may be repeated");
  output.declare(arguments, {"text", "json"});
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "explain");
  if (arguments.help_wanted()) return print_help(arguments);
  if (const auto valid = output.validate(arguments, {}); !valid) return report(valid.error(), "explain");

  const bool json = output.format == "json";
  const auto loaded = all_rule_sets(named);
  if (!loaded) return report(loaded.error(), "explain");
  const auto& sets = *loaded;
  // "explain not measured" without quotes is meant as one name.
  std::string together;
  for (const auto& id : ids) together += (together.empty() ? "" : " ") + id;
  if (ids.size() > 1 && !explain(together, sets).empty()) ids = {together};

  int code = kExitPass;
  std::vector<Explanation> explanations;
  for (const auto& id : ids) {
    auto found = explain(id, sets);
    if (found.empty()) {
      complain(miss(id, sets));
      code = kExitUsage;
    }
    std::move(found.begin(), found.end(), std::back_inserter(explanations));
  }
  if (!ids.empty() && explanations.empty()) return code;
  std::string text;
  if (ids.empty()) {
    text = json ? list_as_json(sets) : list_as_text(sets);
  } else {
    text = json ? as_json(explanations) : as_text(explanations);
  }
  const auto written = deliver(output.path, text);
  return written ? code : std::max(code, report(written.error(), "explain"));
}

}  // namespace sendworthy::cli

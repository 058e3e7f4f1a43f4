// sendworthy explain: what a measurement, a rule or a word of the sheet means.
#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <algorithm>

#include "base/text.h"
#include "cli/command.h"
#include "cli/explain_statuses.h"
#include "cli/json_text.h"
#include "cli/rule_words.h"
#include "cli/sheet_output.h"

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
      },
      {"Exit codes: 0 explained; 2 an unknown ID, with the nearest one; 3 the output could not be written."}};
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

/// All rule sets that load: the user's before the shipped ones of the same name.
std::vector<RuleSet> all_rule_sets() {
  std::vector<RuleSet> sets;
  for (const auto& listing : list_rule_sets(rule_set_folders(), catalog())) {
    if (listing.error) continue;
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
        rules.push_back(set.name + "/" + rule.id + ": " + limits_of(rule));
    }
  }
  text.add_list("rules", "Judged by", std::move(rules));
  return text;
}

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
      text.add("measure", "Looks at", rule.measure.id + (entry != nullptr ? ": " + std::string(entry->title) : ""));
      if (entry != nullptr) text.add("what", "What that says", entry->what);
      text.add_list("limits", "Limits", comparisons_in_words(rule, catalog()));
      text.add_list("conditions", "Applies", conditions_in_words(rule));
      text.add("why", "Why", without_amounts(rule.why));
      text.add("act", "What to do", without_amounts(rule.remedy));
      if (entry != nullptr) text.add("caveat", "What it cannot know", entry->caveat);
      text.add("source", "Source", rule.source);
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

Explanation explain_word(const WordEntry& word) {
  Explanation text{std::string(word.kind),
                   std::string(word.id),
                   word.kind == "status" ? "a status on the sheet" : "why an input has no sheet",
                   {}};
  text.add("what", "What it says", word.what);
  text.add("how", "When it is given", word.how);
  text.add("caveat", "What it cannot know", word.caveat);
  text.add("act", "What to do", word.act);
  text.add("source", "Source", "the contract of this program (docs/contract.md)");
  return text;
}

std::string with_spaces(std::string_view id) {
  std::string text(id);
  for (auto& c : text) {
    if (c == '-' || c == '_') c = ' ';
  }
  return text;
}

/// Everything that goes by this name; one name may be a measurement and a rule.
std::vector<Explanation> explain(const std::string& id, const std::vector<RuleSet>& sets) {
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
  return found;
}

std::string nearest_id(const std::string& id, const std::vector<RuleSet>& sets) {
  std::vector<std::string> names;
  for (const auto* entry : catalog().entries) names.emplace_back(entry->id);
  for (const auto& word : sheet_words()) names.emplace_back(word.id);
  for (const auto& set : sets) {
    for (const auto& rule : set.rules) {
      names.push_back(rule.id);
      if (id.find('/') != std::string::npos) names.push_back(set.name + "/" + rule.id);
    }
  }
  const std::vector<std::string_view> candidates(names.begin(), names.end());
  return std::string(base::nearest(id, candidates));
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
  for (const auto& [kind, heading] : {std::pair{"status", "Statuses"}, std::pair{"error", "Inputs without a sheet"}}) {
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
  for (const auto& [kind, key] : {std::pair{"status", "statuses"}, std::pair{"error", "errors"}}) {
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
  std::vector<std::string> ids;
  OutputOptions output;
  Arguments arguments(manual());
  arguments.operands(ids);
  output.declare(arguments, {"text", "json"});
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "explain");
  if (arguments.help_wanted()) return print_help(arguments);
  if (const auto valid = output.validate(arguments, {}); !valid) return report(valid.error(), "explain");

  const bool json = output.format == "json";
  const auto sets = all_rule_sets();
  // "explain not measured" without quotes is meant as one name.
  std::string together;
  for (const auto& id : ids) together += (together.empty() ? "" : " ") + id;
  if (ids.size() > 1 && !explain(together, sets).empty()) ids = {together};

  int code = kExitPass;
  std::vector<Explanation> explanations;
  for (const auto& id : ids) {
    auto found = explain(id, sets);
    if (found.empty()) {
      const auto near = nearest_id(id, sets);
      complain("nothing is called \"" + id + "\"" +
               (near.empty() ? std::string("; \"sendworthy explain\" lists what there is")
                             : "; did you mean \"" + near + "\"?"));
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

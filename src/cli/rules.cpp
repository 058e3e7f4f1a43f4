// sendworthy rules: list rule sets, show and validate one.
#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <algorithm>

#include "base/text.h"
#include "cli/command.h"
#include "cli/json_text.h"
#include "cli/rule_words.h"
#include "cli/sheet_output.h"

namespace sendworthy::cli {
namespace {

constexpr int kNameColumns = 23;

const Manual& manual() {
  static const Manual kManual{
      "rules",
      "rules [options] [NAME|PATH]...",
      "Without a name: lists the rule sets that --rules can name. With one: reads it with everything it extends, shows "
      "the effective set with where each key comes from, and refuses it with file, line and column when it is wrong.",
      {
          {"sendworthy rules", "the shipped rule sets and yours"},
          {"sendworthy rules premaster", "what \"check\" without --rules asks for"},
          {"sendworthy rules ./label.toml", "is my rule set right?"},
      },
      {
          "Yours lie in $XDG_CONFIG_HOME/sendworthy/rules (by default ~/.config/sendworthy/rules), one NAME.toml each; "
          "one that bears the name of a shipped set hides it, which is said here and on the sheet.",
          "Exit codes: 0 all is well; 2 an unknown name or a rule set that does not load; 3 the output could not be "
          "written.",
      }};
  return kManual;
}

std::string listing_as_text(const std::vector<RuleSetListing>& sets) {
  std::string text = "Rule sets for --rules:\n";
  for (const auto& set : sets) {
    auto what = set.error ? "does not load: " + to_string(*set.error) : set.title;
    if (!set.error && set.origin != "shipped") {
      what += set.shadows_shipped ? " (yours; hides the shipped one of this name)" : " (yours)";
    }
    text += term_row(base::for_terminal(set.name), base::for_terminal(what), 2, kNameColumns);
  }
  return text + "\n\"sendworthy rules NAME\" shows one in full.\n";
}

std::string listing_as_json(const std::vector<RuleSetListing>& sets) {
  JsonText json;
  json.open_object();
  json.member("schema", 1);
  json.key("rulesets");
  json.open_array();
  for (const auto& set : sets) {
    json.open_object();
    json.member("name", set.name);
    json.member("title", set.title);
    json.member("purpose", set.purpose);
    json.member("origin", set.origin);
    json.member("shadows_shipped", set.shadows_shipped);
    if (set.error) json.member("error", to_string(*set.error));
    json.close_object();
  }
  json.close_array();
  json.close_object();
  return json.finished();
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const auto& word : words) text += (text.empty() ? "" : ", ") + base::for_terminal(word);
  return text;
}

/// `key = value` lines as in the file. Where a key comes from stands beside it, or once when all come from one set.
std::string rule_as_text(const Rule& rule) {
  const auto keys = keys_of(rule);
  const auto origin = keys.empty() ? std::string() : keys.front().origin;
  const bool one_origin = !origin.empty() && std::all_of(keys.begin(), keys.end(),
                                                         [&](const RuleKey& key) { return key.origin == origin; });
  std::string text = "\n[[rule]] " + base::for_terminal(rule.id);
  text += (one_origin ? "   # all from " + base::for_terminal(origin) : "") + "\n";
  for (const auto& key : keys) {
    auto line = key.key + " = " + key.value;
    if (!one_origin && !key.origin.empty()) line += "   # from " + base::for_terminal(key.origin);
    const auto lines = base::wrap(line, 76);
    for (std::size_t i = 0; i < lines.size(); ++i) text += (i == 0 ? "  " : "    ") + lines[i] + "\n";
  }
  return text;
}

std::string set_as_text(const RuleSet& set) {
  std::string text = base::for_terminal(set.name) + ": " + base::for_terminal(set.title) + "\n";
  if (!set.purpose.empty()) text += paragraph(base::for_terminal(set.purpose));
  text += term_row("origin", base::for_terminal(set.origin), 2, 10);
  if (!set.extends.empty()) text += term_row("extends", joined(set.extends), 2, 10);
  if (!set.sources.empty()) text += term_row("sources", joined(set.sources), 2, 10);
  text += term_row("digest", set.digest, 2, 10);
  std::string dropped;
  for (const auto& rule : set.rules) {
    if (rule.enabled) {
      text += rule_as_text(rule);
    } else {
      dropped += (dropped.empty() ? "" : ", ") + base::for_terminal(rule.id);
    }
  }
  if (!dropped.empty()) text += "\n" + paragraph("Switched off: " + dropped);
  for (const auto& waiver : set.waivers) {
    text += "\n[[waiver]] " + base::for_terminal(waiver.rule) + "\n";
    const auto files = waiver.files.empty() ? std::string("every file") : base::for_terminal(waiver.files);
    text += paragraph("until " + waiver.until + ", for " + files + ": " + base::for_terminal(waiver.reason), 2);
  }
  return text;
}

void write_rule(JsonText& json, const Rule& rule) {
  json.open_object();
  json.member("id", rule.id);
  json.member("enabled", rule.enabled);
  json.member("measure", rule.measure.id);
  json.member("limits", comparisons_in_words(rule, catalog()));
  json.member("conditions", conditions_in_words(rule));
  json.member("why", rule.why);
  json.member("remedy", rule.remedy);
  json.member("source", rule.source);
  json.member("optional", rule.optional);
  json.key("keys");
  json.open_array();
  for (const auto& key : keys_of(rule)) {
    json.open_object();
    json.member("key", key.key);
    json.member("toml", key.value);
    json.member("from", key.origin);
    json.close_object();
  }
  json.close_array();
  json.close_object();
}

std::string sets_as_json(const std::vector<RuleSet>& sets) {
  JsonText json;
  json.open_object();
  json.member("schema", 1);
  json.key("rulesets");
  json.open_array();
  for (const auto& set : sets) {
    json.open_object();
    json.member("name", set.name);
    json.member("title", set.title);
    json.member("purpose", set.purpose);
    json.member("origin", set.origin);
    json.member("digest", set.digest);
    json.member("extends", set.extends);
    json.member("sources", set.sources);
    json.key("rules");
    json.open_array();
    for (const auto& rule : set.rules) write_rule(json, rule);
    json.close_array();
    json.key("waivers");
    json.open_array();
    for (const auto& waiver : set.waivers) {
      json.open_object();
      json.member("rule", waiver.rule);
      json.member("files", waiver.files);
      json.member("audio", waiver.audio_digest);
      json.member("reason", waiver.reason);
      json.member("by", waiver.by);
      json.member("until", waiver.until);
      json.close_object();
    }
    json.close_array();
    json.close_object();
  }
  json.close_array();
  json.close_object();
  return json.finished();
}

}  // namespace

int run_rules(const Words& words) {
  std::vector<std::string> names;
  OutputOptions output;
  Arguments arguments(manual());
  arguments.operands(names);
  output.declare(arguments, {"text", "json"});
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "rules");
  if (arguments.help_wanted()) return print_help(arguments);
  if (const auto valid = output.validate(arguments, {}); !valid) return report(valid.error(), "rules");

  int code = kExitPass;
  std::string text;
  if (names.empty()) {
    const auto sets = list_rule_sets(rule_set_folders(), catalog());
    for (const auto& set : sets) {
      if (set.error) code = std::max(code, kExitUsage);
    }
    text = output.format == "json" ? listing_as_json(sets) : listing_as_text(sets);
  } else {
    std::vector<RuleSet> sets;
    for (const auto& name : names) {
      auto set = load_rule_set(name, rule_set_folders(), catalog());
      if (set) {
        sets.push_back(std::move(*set));
        continue;
      }
      complain(to_string(set.error()));
      code = std::max(code, kExitUsage);
    }
    if (output.format == "json") {
      text = sets_as_json(sets);
    } else {
      for (const auto& set : sets) text += (text.empty() ? "" : "\n") + set_as_text(set);
    }
    if (sets.empty()) return code;
    SheetOutput target;
    target.output = output;
    if (const auto spared = spare_the_inputs(target, with_rule_sets({}, sets)); !spared) return report(spared.error(), "rules");
  }
  if (const auto written = deliver(output.path, text); !written)
    code = std::max(code, report(written.error(), "rules"));
  return code;
}

}  // namespace sendworthy::cli

#include "cli/rule_words.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "base/text.h"

namespace sendworthy::cli {
namespace {

std::string toml_text(std::string_view text) {
  std::string out = "\"";
  for (const char c : base::for_terminal(text)) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + "\"";
}

std::string toml(const Value& value) {
  if (const auto* flag = std::get_if<bool>(&value)) return *flag ? "true" : "false";
  if (const auto* number = std::get_if<double>(&value)) return base::shortest(*number);
  return toml_text(std::get<std::string>(value));
}

template <class T, class Shown>
std::string toml_list(const std::vector<T>& items, const Shown& shown) {
  if (items.size() == 1) return shown(items[0]);
  std::string out = "[";
  for (std::size_t i = 0; i < items.size(); ++i) out += (i > 0 ? ", " : "") + shown(items[i]);
  return out + "]";
}

std::string toml(const Comparison& comparison) {
  switch (comparison.kind) {
    case LimitKind::above:
    case LimitKind::below:
    case LimitKind::multiple_of:
      return base::shortest(comparison.number);
    case LimitKind::unless:
      return toml_list(comparison.accepted, [](const Value& value) { return toml(value); });
    default:
      return toml_list(comparison.items, [](const std::string& item) { return toml_text(item); });
  }
}

std::string in_words(const Value& value) {
  if (const auto* flag = std::get_if<bool>(&value)) return *flag ? "yes" : "no";
  if (const auto* number = std::get_if<double>(&value)) return base::shortest(*number);
  return base::for_terminal(std::get<std::string>(value));
}

template <class T, class Shown>
std::string alternatives(const std::vector<T>& items, const Shown& shown, std::string_view last) {
  std::string out;
  for (std::size_t i = 0; i < items.size(); ++i) {
    if (i > 0) out += i + 1 == items.size() ? " " + std::string(last) + " " : ", ";
    out += shown(items[i]);
  }
  return out;
}

std::string verb(Status status) {
  return status == Status::warn ? "warns" : status == Status::note ? "is noted" : "fails";
}

}  // namespace

std::vector<std::string> comparisons_in_words(const Rule& rule, const Catalog& catalog) {
  const auto* entry = catalog.find(rule.measure.id);
  const std::string unit = entry == nullptr || to_string(entry->unit).empty() || entry->unit == Unit::count
                               ? std::string()
                               : " " + std::string(to_string(entry->unit));
  const auto plain = [](const std::string& item) { return base::for_terminal(item); };
  std::vector<std::string> words;
  for (const auto& comparison : rule.comparisons) {
    auto text = verb(comparison.status) + " ";
    switch (comparison.kind) {
      case LimitKind::above:
        text += "above " + base::shortest(comparison.number) + unit;
        break;
      case LimitKind::below:
        text += "below " + base::shortest(comparison.number) + unit;
        break;
      case LimitKind::unless:
        // "fails unless no" has to be read twice.
        if (const auto* only = comparison.accepted.size() == 1 ? std::get_if<bool>(&comparison.accepted[0]) : nullptr;
            only != nullptr && !rule.compare_to) {
          text += *only ? "when no" : "when yes";
          break;
        }
        text += "unless " +
                alternatives(
                    comparison.accepted, [](const Value& value) { return in_words(value); }, "or") +
                unit;
        break;
      case LimitKind::multiple_of:
        text += "unless a multiple of " + base::shortest(comparison.number) + unit;
        break;
      case LimitKind::matches:
        text += "unless it matches " + alternatives(comparison.items, plain, "or");
        break;
      case LimitKind::forbid:
        text += "with " + alternatives(comparison.items, plain, "or");
        break;
      case LimitKind::require:
        text += "without " + alternatives(comparison.items, plain, "or");
        break;
      case LimitKind::none:
        continue;
    }
    words.push_back(std::move(text));
  }
  return words;
}

std::vector<std::string> conditions_in_words(const Rule& rule) {
  const auto& conditions = rule.conditions;
  std::vector<std::string> words;
  if (!conditions.channels.empty()) {
    const bool one = conditions.channels.size() == 1 && conditions.channels[0] == 1;
    words.push_back("only with " +
                    alternatives(
                        conditions.channels, [](int count) { return std::to_string(count); }, "or") +
                    (one ? " channel" : " channels"));
  }
  const auto plain = [](const std::string& item) { return base::for_terminal(item); };
  if (!conditions.roles.empty()) words.push_back("only in the role " + alternatives(conditions.roles, plain, "or"));
  if (!conditions.containers.empty()) words.push_back("only in " + alternatives(conditions.containers, plain, "or"));
  if (conditions.min_duration_s) {
    words.push_back("only from " + base::shortest(*conditions.min_duration_s) + " s of length on");
  }
  return words;
}

std::vector<std::string> allowances_in_words(const Rule& rule, const Catalog& catalog) {
  std::vector<std::string> words;
  if (rule.tolerance > 0) {
    const auto* entry = catalog.find(rule.measure.id);
    const auto unit = entry == nullptr ? Unit::count : entry->unit;
    // A distance has no reference.
    const auto of_distance = unit == Unit::lufs ? Unit::lu : unit == Unit::dbtp || unit == Unit::dbfs ? Unit::db : unit;
    const bool can_fail = std::any_of(rule.comparisons.begin(), rule.comparisons.end(),
                                      [](const Comparison& one) { return one.status == Status::fail; });
    const bool bare = unit == Unit::count || to_string(of_distance).empty();
    words.push_back(base::shortest(rule.tolerance) + (bare ? "" : " " + std::string(to_string(of_distance))) +
                    " beyond a limit, which is what measurements may differ by: " +
                    (can_fail ? "a fail is a warn there" : "it warns there all the same") + ", and the sheet says so");
  }
  if (rule.optional) words.push_back("a value that could not be measured: optional, it does not fail");
  return words;
}

std::string without_amounts(std::string text) {
  // In brackets they fit wherever a number stands on the sheet: "Peaks stand only [the measured value] above the loudness".
  static constexpr std::array<std::pair<std::string_view, std::string_view>, 5> kWords{{
      {"{change}", "[the amount on the sheet]"},
      {"{true_peak_after}", "[the value on the sheet]"},
      {"{value}", "[the measured value]"},
      {"{limit}", "[the limit]"},
      {"{direction}", "up or down"},
  }};
  for (const auto& [mark, words] : kWords) {
    for (auto at = text.find(mark); at != std::string::npos; at = text.find(mark, at + words.size())) {
      text.replace(at, mark.size(), words);
    }
  }
  return text;
}

std::vector<RuleKey> keys_of(const Rule& rule) {
  std::vector<RuleKey> keys;
  const auto add = [&](const std::string& key, std::string value) {
    const auto origin = rule.origins.find(key);
    keys.push_back({key, std::move(value), origin == rule.origins.end() ? std::string() : origin->second});
  };
  add("measure", toml_text(rule.measure.id));
  if (rule.compare_to) add("compare_to", toml_text(rule.compare_to->id));
  for (const auto& comparison : rule.comparisons) {
    const auto prefixed = std::string(to_string(comparison.status)) + "_" + std::string(to_string(comparison.kind));
    const std::string bare(to_string(comparison.kind));
    // `forbid` and the like mean fail without saying so; either spelling may stand in the file.
    add(rule.origins.count(bare) > 0 && comparison.status == Status::fail ? bare : prefixed, toml(comparison));
  }
  if (rule.tolerance != 0) add("tolerance", base::shortest(rule.tolerance));
  const auto text = [](const std::string& item) { return toml_text(item); };
  for (const auto& [name, value] : rule.measure.parameters) {
    const auto* number = std::get_if<double>(&value);
    add(name, number != nullptr ? base::shortest(*number) : toml_list(items_of(std::get<std::string>(value)), text));
  }
  const auto& conditions = rule.conditions;
  if (!conditions.channels.empty()) {
    add("channels", toml_list(conditions.channels, [](int count) { return std::to_string(count); }));
  }
  if (!conditions.roles.empty()) add("role", toml_list(conditions.roles, text));
  if (!conditions.containers.empty()) add("container", toml_list(conditions.containers, text));
  if (conditions.min_duration_s) add("min_duration", base::shortest(*conditions.min_duration_s));
  if (rule.optional) add("optional", "true");
  if (!rule.enabled) add("enabled", "false");
  if (!rule.why.empty()) add("why", toml_text(rule.why));
  if (!rule.remedy.empty()) add("remedy", toml_text(rule.remedy));
  if (!rule.source.empty()) add("source", toml_text(rule.source));
  return keys;
}

}  // namespace sendworthy::cli

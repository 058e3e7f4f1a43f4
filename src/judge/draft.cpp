#include "judge/draft.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <set>

#include "base/table.h"
#include "base/text.h"

namespace sendworthy::judge {
namespace {

using base::Node;
using base::wrong;

struct Kind {
  std::string_view word;
  LimitKind kind;
  bool fails_unprefixed;  // `forbid` alone means `fail_forbid`
};
constexpr std::array<Kind, 7> kKinds{{{"above", LimitKind::above, false},
                                      {"below", LimitKind::below, false},
                                      {"unless", LimitKind::unless, false},
                                      {"multiple_of", LimitKind::multiple_of, true},
                                      {"matches", LimitKind::matches, true},
                                      {"forbid", LimitKind::forbid, true},
                                      {"require", LimitKind::require, true}}};
struct Prefix {
  std::string_view word;
  Status status;
};
constexpr std::array<Prefix, 3> kPrefixes{{{"fail_", Status::fail}, {"warn_", Status::warn}, {"note_", Status::note}}};

constexpr std::array<std::string_view, 13> kPlainKeys{"id",     "measure",      "compare_to", "tolerance", "channels",
                                                      "role",   "min_duration", "container",  "why",       "remedy",
                                                      "source", "optional",     "enabled"};
// What a rule keeps when a later set points it at another measurement: everything else was said about the old one.
constexpr std::array<std::string_view, 9> kAboutAnyMeasurement{"channels", "role",   "min_duration", "container", "why",
                                                               "remedy",   "source", "optional",     "enabled"};

std::string canonical(std::string_view key) {
  for (const auto& kind : kKinds) {
    if (kind.fails_unprefixed && key == kind.word) return "fail_" + std::string(key);
  }
  return std::string(key);
}

const std::vector<std::string>& comparison_words() {
  static const std::vector<std::string> words = [] {
    std::vector<std::string> all;
    for (const auto& kind : kKinds) {
      if (kind.fails_unprefixed) all.emplace_back(kind.word);
    }
    for (const auto& prefix : kPrefixes) {
      for (const auto& kind : kKinds) all.push_back(std::string(prefix.word) + std::string(kind.word));
    }
    return all;
  }();
  return words;
}

std::vector<std::string_view> parameters_of(const Catalog& catalog) {
  std::set<std::string_view> names;
  for (const auto* entry : catalog.entries) {
    for (const auto& parameter : entry->parameters) names.insert(parameter.name);
  }
  return {names.begin(), names.end()};
}

std::vector<std::string_view> rule_keys(const Catalog& catalog) {
  std::vector<std::string_view> keys(kPlainKeys.begin(), kPlainKeys.end());
  for (const auto& word : comparison_words()) keys.push_back(word);
  for (const auto name : parameters_of(catalog)) keys.push_back(name);
  return keys;
}

Result<void> read_header(const Node& table, std::string_view expected_name, DraftSet& set) {
  if (const auto ok = table.only({"name", "title", "purpose", "extends", "sources"}, "[ruleset]"); !ok)
    return tl::unexpected(ok.error());
  const auto name = table.find("name");
  if (!name) return wrong(table, "[ruleset] needs a name: the file name without .toml");
  const auto text = name->text();
  if (!text) return tl::unexpected(text.error());
  set.name = *text;
  if (set.name.empty() || set.name.size() > 64) return wrong(*name, "the name must have 1 to 64 characters");
  if (!expected_name.empty() && set.name != expected_name) {
    return wrong(*name, fmt::format("the name is {}, the file is called {}: both must be the same", in_quotes(set.name),
                                    in_quotes(std::string(expected_name) + ".toml")));
  }
  set.title = set.name;
  for (const auto& [key, target] : {std::pair{"title", &set.title}, {"purpose", &set.purpose}}) {
    if (const auto node = table.find(key)) {
      auto value = node->text();
      if (!value) return tl::unexpected(value.error());
      *target = std::move(*value);
    }
  }
  if (const auto node = table.find("sources")) {
    auto value = node->texts();
    if (!value) return tl::unexpected(value.error());
    set.sources = std::move(*value);
  }
  if (const auto node = table.find("extends")) {
    auto value = node->texts();
    if (!value) return tl::unexpected(value.error());
    set.extends = std::move(*value);
    if (node->type() == Node::Type::array) {
      for (const auto& element : node->members()) set.extends_places.push_back(element.place());
    } else {
      set.extends_places.push_back(node->place());
    }
  }
  return {};
}

Result<DraftRule> read_rule(const Node& table, const std::string& origin, const std::vector<std::string_view>& known) {
  DraftRule rule;
  rule.place = table.place();
  if (const auto ok = table.only(known, "[[rule]]"); !ok) return tl::unexpected(ok.error());
  const auto id = table.find("id");
  if (!id) return wrong(table, "[[rule]] needs an id");
  const auto text = id->text();
  if (!text) return tl::unexpected(text.error());
  if (!is_rule_id(*text)) {
    return wrong(*id, fmt::format("rule id {} must be lower-case letters and digits, joined by single hyphens",
                                  in_quotes(*text)));
  }
  rule.id = *text;
  for (const auto& member : table.members()) {
    const std::string key = member.key();
    if (key == "id") continue;
    const auto [at, added] = rule.keys.emplace(canonical(key), DraftKey{key, member, origin});
    if (!added) {
      return tl::unexpected(
          Error{ErrorCode::rules,
                fmt::format("{} and {} say the same; keep one", in_quotes(at->second.written), in_quotes(key)),
                member.key_place()});
    }
  }
  return rule;
}

bool is_audio_digest(std::string_view text) {
  constexpr std::string_view kStart = "xxh128:";
  return text.substr(0, kStart.size()) == kStart && text.size() == kStart.size() + 32 &&
         std::all_of(text.begin() + kStart.size(), text.end(),
                     [](char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'); });
}

Result<Waiver> read_waiver(const Node& table) {
  Waiver waiver;
  waiver.place = table.place();
  if (const auto ok = table.only({"rule", "files", "audio", "from_s", "to_s", "reason", "by", "until"}, "[[waiver]]");
      !ok)
    return tl::unexpected(ok.error());
  for (const auto& [key, target] : {std::pair{"rule", &waiver.rule},
                                    {"files", &waiver.files},
                                    {"audio", &waiver.audio_digest},
                                    {"reason", &waiver.reason},
                                    {"by", &waiver.by}}) {
    if (const auto node = table.find(key)) {
      auto value = node->text();
      if (!value) return tl::unexpected(value.error());
      *target = std::move(*value);
    }
  }
  if (waiver.rule.empty()) return wrong(table, "[[waiver]] needs a rule: the id of the rule it waives");
  if (base::is_blank(waiver.reason)) return wrong(table, "[[waiver]] needs a reason: why the fault is accepted");
  const auto until = table.find("until");
  if (!until) return wrong(table, "[[waiver]] needs until: the last day it holds, such as 2027-01-31");
  auto date = until->date();
  if (!date) return tl::unexpected(date.error());
  waiver.until = std::move(*date);
  if (!waiver.audio_digest.empty() && !is_audio_digest(waiver.audio_digest)) {
    return wrong(*table.find("audio"),
                 fmt::format("{} is no audio digest; copy the \"xxh128:\" and 32 hexadecimal digits of the sheet",
                             in_quotes(waiver.audio_digest)));
  }
  for (const auto& [key, target] : {std::pair{"from_s", &waiver.from_s}, {"to_s", &waiver.to_s}}) {
    if (const auto node = table.find(key)) {
      const auto value = node->number();
      if (!value) return tl::unexpected(value.error());
      if (*value < 0) return wrong(*node, fmt::format("\"{}\" must not be negative", key));
      *target = *value;
    }
  }
  if (waiver.from_s && waiver.to_s && *waiver.from_s > *waiver.to_s)
    return wrong(*table.find("to_s"), "\"to_s\" lies before \"from_s\"");
  return waiver;
}

}  // namespace

Result<std::vector<Node>> tables_of(const Node& root, std::string_view key) {
  const auto node = root.find(key);
  if (!node) return std::vector<Node>{};
  const auto elements = node->type() == Node::Type::array ? node->members() : std::vector<Node>{};
  const bool only_tables = std::all_of(elements.begin(), elements.end(),
                                       [](const Node& element) { return element.type() == Node::Type::table; });
  if (node->type() != Node::Type::array || !only_tables) {
    return tl::unexpected(Error{ErrorCode::rules, fmt::format("write [[{}]], with two brackets, for each of them", key),
                                node->key_place()});
  }
  return elements;
}

Result<std::vector<Waiver>> read_waivers(const Node& root) {
  std::vector<Waiver> waivers;
  const auto nodes = tables_of(root, "waiver");
  if (!nodes) return tl::unexpected(nodes.error());
  for (const auto& table : *nodes) {
    auto waiver = read_waiver(table);
    if (!waiver) return tl::unexpected(waiver.error());
    waivers.push_back(std::move(*waiver));
  }
  return waivers;
}

std::string in_quotes(std::string_view text) {
  constexpr std::size_t kLongest = 80;
  const bool cut = text.size() > kLongest;
  return fmt::format("\"{}{}\"", base::for_terminal(text.substr(0, kLongest)), cut ? "…" : "");
}

std::string did_you_mean(std::string_view word, const std::vector<std::string_view>& candidates) {
  const auto near = base::nearest(word, candidates);
  return near.empty() ? std::string() : fmt::format("; did you mean \"{}\"?", near);
}

tl::unexpected<Error> no_such(const Node& node, std::string_view what, std::string_view word, const std::vector<std::string_view>& known) {
  std::string all;
  for (const auto one : known) all += (all.empty() ? "" : ", ") + std::string(one);
  return wrong(node, fmt::format("no {} is called {}{}; known are {}", what, in_quotes(word), did_you_mean(word, known), all));
}

std::vector<std::string_view> ids_of(const Catalog& catalog) {
  std::vector<std::string_view> ids;
  for (const auto* entry : catalog.entries) ids.push_back(entry->id);
  return ids;
}

bool is_rule_id(std::string_view text) {
  if (text.empty() || text.size() > 64 || text.front() == '-' || text.back() == '-') return false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '-' ? text[i - 1] == '-' : !((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))) return false;
  }
  return true;
}

std::optional<ComparisonKey> comparison_key(std::string_view key) {
  for (const auto& prefix : kPrefixes) {
    if (key.substr(0, prefix.word.size()) != prefix.word) continue;
    for (const auto& kind : kKinds) {
      if (key.substr(prefix.word.size()) == kind.word) return ComparisonKey{prefix.status, kind.kind};
    }
  }
  return std::nullopt;
}

Result<DraftSet> read_draft(const base::Document& document, std::string_view expected_name, const Catalog& catalog) {
  DraftSet set;
  const Node root = document.root();
  if (const auto ok = root.only({"ruleset", "rule", "waiver"}, "a rule set"); !ok) return tl::unexpected(ok.error());
  const auto header = root.find("ruleset");
  if (!header || header->type() != Node::Type::table) {
    Place place = header ? header->key_place() : root.place();
    return fail(ErrorCode::rules, "a rule set needs a table [ruleset] with its name", std::move(place));
  }
  if (const auto ok = read_header(*header, expected_name, set); !ok) return tl::unexpected(ok.error());

  const auto rules = tables_of(root, "rule");
  if (!rules) return tl::unexpected(rules.error());
  const auto known = rule_keys(catalog);
  std::map<std::string, Place> seen;
  for (const auto& table : *rules) {
    auto rule = read_rule(table, set.name, known);
    if (!rule) return tl::unexpected(rule.error());
    const auto [first, added] = seen.emplace(rule->id, rule->place);
    if (!added) {
      return wrong(*table.find("id"),
                   fmt::format("rule {} is already in this file, in line {}", in_quotes(rule->id), first->second.line));
    }
    set.rules.push_back(std::move(*rule));
  }
  auto waivers = read_waivers(root);
  if (!waivers) return tl::unexpected(waivers.error());
  set.waivers = std::move(*waivers);
  return set;
}

Result<void> lay_over(std::vector<DraftRule>& rules, const DraftSet& later) {
  std::map<std::string_view, std::size_t> index;
  for (std::size_t i = 0; i < rules.size(); ++i) index.emplace(rules[i].id, i);
  const std::size_t before = rules.size();
  std::vector<DraftRule> added;
  for (const auto& rule : later.rules) {
    const auto measure = rule.keys.find("measure");
    const auto found = index.find(rule.id);
    if (found == index.end()) {
      if (measure == rule.keys.end()) {
        std::vector<std::string_view> ids;
        for (std::size_t i = 0; i < before; ++i) ids.push_back(rules[i].id);
        return fail(ErrorCode::rules,
                    fmt::format("rule {} has no measure, and no set it extends has a rule of that id{}",
                                in_quotes(rule.id), did_you_mean(rule.id, ids)),
                    rule.place);
      }
      added.push_back(rule);
      continue;
    }
    auto& base_keys = rules[found->second].keys;
    if (measure != rule.keys.end()) {
      const auto old = base_keys.find("measure");
      const auto was = old == base_keys.end() ? Result<std::string>("") : old->second.value.text();
      const auto is = measure->second.value.text();
      if (!is) return tl::unexpected(is.error());
      if (!was || *was != *is) {
        for (auto at = base_keys.begin(); at != base_keys.end();) {
          const bool stays = std::find(kAboutAnyMeasurement.begin(), kAboutAnyMeasurement.end(), at->first) !=
                             kAboutAnyMeasurement.end();
          at = stays ? std::next(at) : base_keys.erase(at);
        }
      }
    }
    for (const auto& [key, value] : rule.keys) base_keys[key] = value;
  }
  for (auto& rule : added) rules.push_back(std::move(rule));
  return {};
}

}  // namespace sendworthy::judge

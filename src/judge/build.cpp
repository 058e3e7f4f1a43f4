// From the merged keys of a rule to a Rule, checked against the catalog.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "base/table.h"
#include "base/text.h"
#include "judge/compare.h"
#include "judge/draft.h"
#include "judge/pattern.h"
#include "judge/words.h"

namespace sendworthy::judge {
namespace {

using base::Node;
using base::wrong;

constexpr std::size_t kMostItems = 1000;
constexpr int kMostChannels = 256;

bool is_number(Unit unit) { return unit != Unit::text && unit != Unit::list && unit != Unit::boolean; }

std::string in_unit(Unit unit) {
  if (!is_number(unit)) return unit == Unit::boolean ? "true or false" : unit == Unit::list ? "a list" : "text";
  return unit == Unit::count || unit == Unit::ratio ? "a number" : fmt::format("a number of {}", to_string(unit));
}

// A limit: a number, or a text such as "-1 dBTP" that says the unit. Mixing up units is the mistake this catches.
Result<double> limit_in(const Node& node, const CatalogEntry& entry, Unit unit, const std::string& key) {
  if (node.type() != Node::Type::text) return node.number();
  const std::string text = *node.text();
  double value = 0;
  const char* const end = text.data() + text.size();
  const auto parsed = std::from_chars(text.data(), end, value);
  std::string_view found(parsed.ptr, static_cast<std::size_t>(end - parsed.ptr));
  found.remove_prefix(std::min(found.find_first_not_of(' '), found.size()));
  if (parsed.ec != std::errc() || !std::isfinite(value) || found.empty())
    return wrong(node, fmt::format("{} must be {}, not text", in_quotes(key), in_unit(unit)));
  if (to_string(unit).empty())
    return wrong(node,
                 fmt::format("{} has no unit; write {} without {}", entry.id, base::shortest(value), in_quotes(found)));
  if (found != to_string(unit))
    return wrong(node, fmt::format("{} is in {}, not in {}", entry.id, to_string(unit), in_quotes(found)));
  return value;
}

Result<Value> accepted_value(const Node& node, const CatalogEntry& entry, Unit unit, const std::string& key) {
  if (unit == Unit::boolean) {
    if (node.type() == Node::Type::boolean) return Value(*node.boolean());
  } else if (is_number(unit)) {
    if (node.type() == Node::Type::integer || node.type() == Node::Type::real || node.type() == Node::Type::text) {
      const auto number = limit_in(node, entry, unit, key);
      if (!number) return tl::unexpected(number.error());
      return Value(*number);
    }
  } else if (node.type() == Node::Type::text) {
    return Value(*node.text());
  }
  return wrong(node,
               fmt::format("{} needs {}, because {} is {}", in_quotes(key), in_unit(unit), entry.id, in_unit(unit)));
}

constexpr double kLargestTolerance = 10;

/// The words of the measurement `container`.
constexpr std::array<std::string_view, 12> kContainers{"WAV",    "RIFX", "RF64", "BW64",       "W64",  "AIFF",
                                                       "AIFF-C", "CAF",  "FLAC", "Ogg Vorbis", "Opus", "MP3"};

Result<std::vector<std::string>> items_in(const Node& node, const std::string& key) {
  auto items = node.texts();
  if (!items) return items;
  if (items->empty()) return wrong(node, fmt::format("{} is empty", in_quotes(key)));
  if (items->size() > kMostItems)
    return wrong(node, fmt::format("{} has more than {} items", in_quotes(key), kMostItems));
  return items;
}

Result<Comparison> read_comparison(const DraftKey& key, ComparisonKey what, const CatalogEntry& entry, Unit unit) {
  Comparison comparison;
  comparison.status = what.status;
  comparison.kind = what.kind;
  const Node& node = key.value;
  const auto refuse = [&](std::string_view fits) {
    return tl::unexpected(Error{ErrorCode::rules,
                                fmt::format("{} compares {}, and {} is {}", in_quotes(key.written), fits, entry.id,
                                            unit == Unit::boolean ? "true or false" : in_unit(unit)),
                                node.key_place()});
  };
  switch (what.kind) {
    case LimitKind::above:
    case LimitKind::below:
    case LimitKind::multiple_of: {
      if (!is_number(unit)) return refuse("numbers");
      const auto number = limit_in(node, entry, unit, key.written);
      if (!number) return tl::unexpected(number.error());
      if (what.kind == LimitKind::multiple_of && *number <= 0)
        return wrong(node, fmt::format("{} must be more than 0", in_quotes(key.written)));
      comparison.number = *number;
      return comparison;
    }
    case LimitKind::unless: {
      const auto values = node.type() == Node::Type::array ? node.members() : std::vector<Node>{node};
      if (values.empty()) return wrong(node, fmt::format("{} is empty", in_quotes(key.written)));
      if (values.size() > kMostItems)
        return wrong(node, fmt::format("{} has more than {} items", in_quotes(key.written), kMostItems));
      for (const auto& value : values) {
        auto accepted = accepted_value(value, entry, unit, key.written);
        if (!accepted) return tl::unexpected(accepted.error());
        comparison.accepted.push_back(std::move(*accepted));
      }
      return comparison;
    }
    case LimitKind::matches: {
      if (unit != Unit::text && unit != Unit::list) return refuse("texts");
      auto text = node.text();
      if (!text) return tl::unexpected(text.error());
      if (const auto pattern = Pattern::compile(*text); !pattern)
        return wrong(node, fmt::format("{} is no pattern: {}", in_quotes(*text), pattern.error().text));
      comparison.items.push_back(std::move(*text));
      return comparison;
    }
    case LimitKind::forbid:
    case LimitKind::require: {
      if (unit != Unit::text && unit != Unit::list) return refuse("lists and texts");
      auto items = items_in(node, key.written);
      if (!items) return tl::unexpected(items.error());
      comparison.items = std::move(*items);
      return comparison;
    }
    case LimitKind::none:
      break;
  }
  return comparison;
}

Result<const CatalogEntry*> find_measurement(const Node& node, const Catalog& catalog) {
  const auto id = node.text();
  if (!id) return tl::unexpected(id.error());
  if (const auto* entry = catalog.find(*id)) return entry;
  return wrong(node, fmt::format("unknown measurement {}{}", in_quotes(*id), did_you_mean(*id, ids_of(catalog))));
}

constexpr std::size_t kMostWords = 8;

// A word and a number, as in "vorbis 160" or "vorbis 160 kbit/s".
struct Word {
  std::size_t choice = 0;
  double number = 0;
  auto operator<=>(const Word&) const = default;
};

Result<Word> read_word(const Node& node, const Parameter& parameter, const CatalogEntry& entry) {
  const auto text = node.text();
  if (!text) return tl::unexpected(text.error());
  const std::string_view whole = *text;
  const auto space = whole.find(' ');
  const auto word = whole.substr(0, space);
  std::string_view rest = space == whole.npos ? std::string_view{} : whole.substr(space);
  rest.remove_prefix(std::min(rest.find_first_not_of(' '), rest.size()));
  const auto takes = fmt::format("{} takes {}, written as in {}", entry.id, accepted_by(parameter),
                                 in_quotes(items_of(parameter.fallback_words).front()));

  const auto found = std::find_if(parameter.choices.begin(), parameter.choices.end(),
                                  [&](const Choice& choice) { return same_text(choice.word, word, true); });
  if (found == parameter.choices.end()) {
    std::vector<std::string_view> known;
    for (const auto& choice : parameter.choices) known.push_back(choice.word);
    return wrong(node, fmt::format("{} is not known; {}{}", in_quotes(whole), takes, did_you_mean(word, known)));
  }
  Word read{static_cast<std::size_t>(found - parameter.choices.begin()), 0};
  const auto parsed = std::from_chars(rest.data(), rest.data() + rest.size(), read.number);
  auto unit = rest.substr(static_cast<std::size_t>(parsed.ptr - rest.data()));
  unit.remove_prefix(std::min(unit.find_first_not_of(' '), unit.size()));
  if (parsed.ec != std::errc() || (!unit.empty() && unit != parameter.unit))
    return wrong(node, fmt::format("{} needs a number of {} after {}; {}", in_quotes(whole), parameter.unit,
                                   in_quotes(found->word), takes));
  const auto has = [&](int step) { return step == read.number; };
  const bool fits = found->steps.empty() ? read.number >= found->lowest && read.number <= found->highest &&
                                               read.number == std::floor(read.number)
                                         : std::any_of(found->steps.begin(), found->steps.end(), has);
  if (!fits) {
    if (found->steps.empty())
      return wrong(node, fmt::format("{}: {} takes whole numbers from {} to {} {}", in_quotes(whole), found->word,
                                     base::shortest(found->lowest), base::shortest(found->highest), parameter.unit));
    const auto nearest = *std::min_element(found->steps.begin(), found->steps.end(), [&](int a, int b) {
      return std::abs(a - read.number) < std::abs(b - read.number);
    });
    return wrong(node, fmt::format("{}: {} takes {} {}; did you mean \"{} {}\"?", in_quotes(whole), found->word,
                                   fmt::join(found->steps, ", "), parameter.unit, found->word, nearest));
  }
  return read;
}

// A list of words, in the catalog's order whatever order it was written in, so that the same list is the same request.
Result<std::string> read_words(const Node& node, const Parameter& parameter, const CatalogEntry& entry) {
  const auto nodes = node.type() == Node::Type::array ? node.members() : std::vector<Node>{node};
  if (nodes.empty())
    return wrong(node, fmt::format("\"{}\" is empty; {} takes {}", parameter.name, entry.id, accepted_by(parameter)));
  if (nodes.size() > kMostWords)
    return wrong(node, fmt::format("\"{}\" has more than {} items", parameter.name, kMostWords));
  std::vector<Word> words;
  for (const auto& one : nodes) {
    const auto word = read_word(one, parameter, entry);
    if (!word) return tl::unexpected(word.error());
    if (std::find(words.begin(), words.end(), *word) != words.end())
      return wrong(one, fmt::format("{} is named twice", in_quotes(*one.text())));
    words.push_back(*word);
  }
  std::sort(words.begin(), words.end());
  std::string joined;
  for (const auto& word : words)
    joined += fmt::format("{}{} {}", joined.empty() ? "" : "+", parameter.choices[word.choice].word, base::shortest(word.number));
  return joined;
}

// true when the entry has the parameter; the value goes into `request` unless it is the fallback.
Result<bool> take_parameter(const DraftKey& key, std::string_view name, const CatalogEntry& entry,
                            MeasureRequest& request) {
  for (const auto& parameter : entry.parameters) {
    if (parameter.name != name) continue;
    if (!parameter.choices.empty()) {
      auto words = read_words(key.value, parameter, entry);
      if (!words) return tl::unexpected(words.error());
      if (*words != parameter.fallback_words) request.parameters[std::string(name)] = std::move(*words);
      return true;
    }
    const auto value = key.value.number();
    if (!value) return tl::unexpected(value.error());
    if (*value < parameter.lowest || *value > parameter.highest) {
      return wrong(key.value, fmt::format("\"{}\" is {}; {} takes {} to {}{}{}", name, base::shortest(*value), entry.id,
                                          base::shortest(parameter.lowest), base::shortest(parameter.highest),
                                          parameter.unit.empty() ? "" : " ", parameter.unit));
    }
    if (*value != parameter.fallback) request.parameters[std::string(name)] = *value;
    return true;
  }
  return false;
}

std::string measurements_with(std::string_view parameter, const Catalog& catalog) {
  std::string list;
  for (const auto* entry : catalog.entries) {
    for (const auto& p : entry->parameters) {
      if (p.name == parameter) list += (list.empty() ? "" : ", ") + std::string(entry->id);
    }
  }
  return list;
}

Result<void> read_conditions(const DraftRule& draft, Conditions& conditions) {
  if (const auto at = draft.keys.find("channels"); at != draft.keys.end()) {
    const Node& node = at->second.value;
    const auto values = node.type() == Node::Type::array ? node.members() : std::vector<Node>{node};
    if (values.empty() || values.size() > kMostItems)
      return wrong(node, "\"channels\" must be a number of channels or a list of them");
    for (const auto& value : values) {
      const auto count = value.integer();
      if (!count) return tl::unexpected(count.error());
      if (*count < 1 || *count > kMostChannels)
        return wrong(value, fmt::format("\"channels\" must be 1 to {}, not {}", kMostChannels, *count));
      conditions.channels.push_back(static_cast<int>(*count));
    }
  }
  for (const auto& [key, target] : {std::pair{"role", &conditions.roles}, {"container", &conditions.containers}}) {
    if (const auto at = draft.keys.find(key); at != draft.keys.end()) {
      auto items = items_in(at->second.value, key);
      if (!items) return tl::unexpected(items.error());
      *target = std::move(*items);
      if (std::string_view(key) != "container") continue;
      // A name nothing answers to would make a rule that never applies.
      for (const auto& name : *target) {
        const bool known = std::any_of(kContainers.begin(), kContainers.end(),
                                       [&](std::string_view container) { return same_text(container, name, true); });
        if (!known) {
          return wrong(at->second.value, fmt::format("no container is called {}{}", in_quotes(name),
                                                     did_you_mean(name, {kContainers.begin(), kContainers.end()})));
        }
      }
    }
  }
  if (const auto at = draft.keys.find("min_duration"); at != draft.keys.end()) {
    const auto seconds = at->second.value.number();
    if (!seconds) return tl::unexpected(seconds.error());
    if (*seconds < 0) return wrong(at->second.value, "\"min_duration\" must not be negative");
    conditions.min_duration_s = *seconds;
  }
  return {};
}

Result<void> check_range(const DraftRule& draft, const Rule& rule) {
  const Comparison* lowest = nullptr;
  const Comparison* highest = nullptr;
  for (const auto& comparison : rule.comparisons) {
    if (comparison.status != Status::fail) continue;
    if (comparison.kind == LimitKind::below) lowest = &comparison;
    if (comparison.kind == LimitKind::above) highest = &comparison;
  }
  if (lowest && highest && lowest->number > highest->number) {
    return wrong(draft.keys.at("fail_below").value,
                 fmt::format("no value can pass: everything below {} fails, and everything above {} too",
                             base::shortest(lowest->number), base::shortest(highest->number)));
  }
  return {};
}

}  // namespace

Result<Rule> build_rule(const DraftRule& draft, const Catalog& catalog) {
  Rule rule;
  rule.id = draft.id;
  rule.place = draft.place;
  for (const auto& [canonical, key] : draft.keys) rule.origins[key.written] = key.origin;

  const auto at_measure = draft.keys.find("measure");
  if (at_measure == draft.keys.end())
    return fail(ErrorCode::rules, fmt::format("rule {} needs a measure", in_quotes(rule.id)), rule.place);
  const auto entry = find_measurement(at_measure->second.value, catalog);
  if (!entry) return tl::unexpected(entry.error());
  rule.measure.id = std::string((*entry)->id);
  rule.measure.on_request = (*entry)->on_request;
  Unit unit = (*entry)->unit;

  const CatalogEntry* other = nullptr;
  if (const auto at = draft.keys.find("compare_to"); at != draft.keys.end()) {
    const auto found = find_measurement(at->second.value, catalog);
    if (!found) return tl::unexpected(found.error());
    other = *found;
    if (other->id == (*entry)->id) return wrong(at->second.value, "a measurement compared to itself always agrees");
    rule.compare_to = MeasureRequest{std::string(other->id), {}, other->on_request};
    // Levels and loudness of every kind are decibels: the difference of two has a meaning.
    constexpr std::array kDecibels{Unit::lufs, Unit::lu, Unit::dbtp, Unit::dbfs, Unit::db};
    const auto is_level = [&](Unit one) { return std::find(kDecibels.begin(), kDecibels.end(), one) != kDecibels.end(); };
    const bool alike = unit == other->unit || (is_level(unit) && is_level(other->unit));
    if (!alike) {
      return wrong(at->second.value, fmt::format("{} is {} and {} is {}: they cannot be compared", (*entry)->id,
                                                 in_unit(unit), other->id, in_unit(other->unit)));
    }
    unit = unit_of_difference(unit);
  }

  for (const auto& [canonical, key] : draft.keys) {
    if (const auto what = comparison_key(canonical)) {
      auto comparison = read_comparison(key, *what, **entry, unit);
      if (!comparison) return tl::unexpected(comparison.error());
      rule.comparisons.push_back(std::move(*comparison));
    } else if (canonical == "tolerance") {
      if (!is_number(unit)) {
        return tl::unexpected(
            Error{ErrorCode::rules,
                  fmt::format("\"tolerance\" needs a number to compare, and {} is {}", (*entry)->id, in_unit(unit)),
                  key.value.key_place()});
      }
      const auto value = key.value.number();
      if (!value) return tl::unexpected(value.error());
      if (*value < 0) return wrong(key.value, "\"tolerance\" must not be negative");
      if (*value > kLargestTolerance)
        return wrong(key.value, fmt::format("\"tolerance\" is what a measurement may be off, not more than {}", kLargestTolerance));
      rule.tolerance = *value;
    } else if (canonical == "optional" || canonical == "enabled") {
      const auto value = key.value.boolean();
      if (!value) return tl::unexpected(value.error());
      (canonical == "optional" ? rule.optional : rule.enabled) = *value;
    } else if (canonical == "why" || canonical == "remedy" || canonical == "source") {
      auto value = key.value.text();
      if (!value) return tl::unexpected(value.error());
      if (const auto unknown = unknown_placeholder(*value); !unknown.empty() && canonical != "source") {
        return wrong(key.value, fmt::format("unknown placeholder {{{}}}{}", base::for_terminal(unknown),
                                            did_you_mean(unknown, placeholders())));
      }
      (canonical == "why" ? rule.why : canonical == "remedy" ? rule.remedy : rule.source) = std::move(*value);
    } else if (canonical != "measure" && canonical != "compare_to" && canonical != "channels" && canonical != "role" &&
               canonical != "container" && canonical != "min_duration") {
      auto taken = take_parameter(key, canonical, **entry, rule.measure);
      if (taken && other) {
        const auto also = take_parameter(key, canonical, *other, *rule.compare_to);
        if (!also) return tl::unexpected(also.error());
        taken = *taken || *also;
      }
      if (!taken) return tl::unexpected(taken.error());
      if (!*taken) {
        return tl::unexpected(
            Error{ErrorCode::rules,
                  fmt::format("{} is no parameter of {}; {} {} it", in_quotes(key.written), (*entry)->id,
                              measurements_with(canonical, catalog),
                              measurements_with(canonical, catalog).find(',') == std::string::npos ? "has" : "have"),
                  key.value.key_place()});
      }
    }
  }
  if (const auto ok = read_conditions(draft, rule.conditions); !ok) return tl::unexpected(ok.error());
  if (rule.comparisons.empty()) {
    return fail(
        ErrorCode::rules,
        fmt::format("rule {} compares {} with nothing: give it a limit such as {}", in_quotes(rule.id), rule.measure.id,
                    is_number(unit)         ? "fail_above = 0"
                    : unit == Unit::boolean ? "fail_unless = true"
                                            : "fail_unless = \"…\""),
        at_measure->second.value.key_place());
  }
  if (const auto ok = check_range(draft, rule); !ok) return tl::unexpected(ok.error());
  // Worst first, so that the order never depends on the alphabet.
  std::stable_sort(rule.comparisons.begin(), rule.comparisons.end(), [](const Comparison& a, const Comparison& b) {
    return std::pair(-static_cast<int>(a.status), static_cast<int>(a.kind)) <
           std::pair(-static_cast<int>(b.status), static_cast<int>(b.kind));
  });
  return rule;
}

}  // namespace sendworthy::judge

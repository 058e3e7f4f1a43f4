#include "judge/digest.h"

#include <fmt/format.h>
#include <xxhash.h>

#include <algorithm>

#include "base/text.h"

namespace sendworthy {
namespace judge {
namespace {

// Every field with its length before it, so that no two sets write down alike.
class Writer {
 public:
  void add(std::string_view text) { out_ += fmt::format("{}:{};", text.size(), text); }
  void add(double number) { add(std::string_view(base::shortest(number))); }
  void add(const Value& value) {
    if (const auto* yes = std::get_if<bool>(&value)) {
      add(std::string_view(*yes ? "yes" : "no"));
    } else if (const auto* number = std::get_if<double>(&value)) {
      add(*number);
    } else {
      add(std::string_view("text"));
      add(std::string_view(std::get<std::string>(value)));
    }
  }
  template <class Items>
  void add_all(const Items& items) {
    add(static_cast<double>(items.size()));
    for (const auto& item : items) add(item);
  }
  [[nodiscard]] const std::string& text() const { return out_; }

 private:
  std::string out_;
};

void add_optional(Writer& writer, const std::optional<double>& value) {
  writer.add(std::string_view(value ? "is" : "none"));
  if (value) writer.add(*value);
}

void add_rule(Writer& writer, const Rule& rule) {
  writer.add(std::string_view(rule.id));
  writer.add(std::string_view(key_of(rule.measure)));
  writer.add(std::string_view(rule.compare_to ? key_of(*rule.compare_to) : std::string()));
  writer.add(static_cast<double>(rule.comparisons.size()));
  for (const auto& comparison : rule.comparisons) {
    writer.add(to_string(comparison.status));
    writer.add(to_string(comparison.kind));
    writer.add(comparison.number);
    writer.add_all(comparison.accepted);
    writer.add(static_cast<double>(comparison.items.size()));
    for (const auto& item : comparison.items) writer.add(std::string_view(item));
  }
  writer.add(rule.tolerance);
  writer.add(static_cast<double>(rule.conditions.channels.size()));
  for (const int count : rule.conditions.channels) writer.add(static_cast<double>(count));
  for (const auto* items : {&rule.conditions.roles, &rule.conditions.containers}) {
    writer.add(static_cast<double>(items->size()));
    for (const auto& item : *items) writer.add(std::string_view(item));
  }
  add_optional(writer, rule.conditions.min_duration_s);
  for (const auto* text : {&rule.why, &rule.remedy, &rule.source}) writer.add(std::string_view(*text));
  writer.add(std::string_view(rule.optional ? "optional" : "needed"));
}

}  // namespace

std::string digest_of(const RuleSet& set) {
  Writer writer;
  writer.add(std::string_view("sendworthy rule set 1"));
  writer.add(std::string_view(set.name));
  for (const auto& rule : set.rules) {
    if (rule.enabled) add_rule(writer, rule);
  }
  for (const auto& waiver : set.waivers) {
    for (const auto* text :
         {&waiver.rule, &waiver.files, &waiver.audio_digest, &waiver.reason, &waiver.by, &waiver.until})
      writer.add(std::string_view(*text));
    add_optional(writer, waiver.from_s);
    add_optional(writer, waiver.to_s);
  }
  const auto hash = XXH3_128bits(writer.text().data(), writer.text().size());
  return fmt::format("xxh128:{:016x}{:016x}", hash.high64, hash.low64);
}

}  // namespace judge

namespace {

std::string written(const ParameterValue& value) {
  const auto* number = std::get_if<double>(&value);
  return number != nullptr ? base::shortest(*number) : std::get<std::string>(value);
}

}  // namespace

std::string key_of(const MeasureRequest& request) {
  if (request.parameters.empty()) return request.id;
  std::string list;
  for (const auto& [name, value] : request.parameters)
    list += fmt::format("{}{}={}", list.empty() ? "" : ",", name, written(value));
  return fmt::format("{}({})", request.id, list);
}

std::vector<MeasureRequest> requests_of(const std::vector<RuleSet>& rule_sets) {
  std::vector<MeasureRequest> requests;
  for (const auto& set : rule_sets) {
    for (const auto& rule : set.rules) {
      if (!rule.enabled) continue;
      const auto ask = [&](const MeasureRequest& request) {
        if (request.on_request || !request.parameters.empty()) requests.push_back(request);
      };
      ask(rule.measure);
      if (rule.compare_to) ask(*rule.compare_to);
    }
  }
  std::sort(requests.begin(), requests.end());
  requests.erase(std::unique(requests.begin(), requests.end()), requests.end());
  return requests;
}

}  // namespace sendworthy

// Words and small functions of the public model. They stand in base because every layer needs them.
#include <sendworthy/catalog.h>
#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

#include <algorithm>

#include "base/text.h"

namespace sendworthy {

double number_in(const Parameters& parameters, std::string_view name, double fallback) {
  const auto found = parameters.find(name);
  const auto* number = found == parameters.end() ? nullptr : std::get_if<double>(&found->second);
  return number == nullptr ? fallback : *number;
}

std::vector<std::string> items_of(std::string_view joined_by_plus) {
  std::vector<std::string> items;
  while (!joined_by_plus.empty()) {
    const auto end = std::min(joined_by_plus.find('+'), joined_by_plus.size());
    items.emplace_back(joined_by_plus.substr(0, end));
    joined_by_plus.remove_prefix(std::min(end + 1, joined_by_plus.size()));
  }
  return items;
}

std::string accepted_by(const Parameter& parameter) {
  const auto range = [](double lowest, double highest) { return base::shortest(lowest) + " to " + base::shortest(highest); };
  std::string text;
  for (const auto& choice : parameter.choices) {
    text += (text.empty() ? "" : ", ") + std::string(choice.word) + " " +
            (choice.steps.empty() ? range(choice.lowest, choice.highest)
                                  : range(choice.steps.front(), choice.steps.back()) + " in its fixed steps");
  }
  if (text.empty()) text = range(parameter.lowest, parameter.highest);
  return parameter.unit.empty() ? text : text + " " + std::string(parameter.unit);
}

std::string fallback_in_words(const Parameter& parameter) {
  if (parameter.choices.empty())
    return base::shortest(parameter.fallback) + (parameter.unit.empty() ? "" : " " + std::string(parameter.unit));
  std::string text;
  for (const auto& item : items_of(parameter.fallback_words)) text += (text.empty() ? "[\"" : ", \"") + item + "\"";
  return text + "]";
}

std::string_view to_string(ErrorCode code) {
  switch (code) {
    case ErrorCode::usage: return "usage";
    case ErrorCode::rules: return "rules";
    case ErrorCode::missing: return "missing";
    case ErrorCode::unreadable: return "unreadable";
    case ErrorCode::unrecognised: return "unrecognised";
    case ErrorCode::no_audio: return "no-audio";
    case ErrorCode::output: return "output";
    case ErrorCode::interrupted: return "interrupted";
  }
  return "usage";
}

std::string to_string(const Error& error) {
  std::string text;
  if (!error.place.file.empty()) {
    text += error.place.file;
    if (error.place.line > 0) text += ":" + std::to_string(error.place.line);
    if (error.place.line > 0 && error.place.column > 0) text += ":" + std::to_string(error.place.column);
    text += ": ";
  }
  return text + error.text;
}

std::string_view to_string(Unit unit) {
  switch (unit) {
    case Unit::text:
    case Unit::list:
    case Unit::boolean:
    case Unit::ratio: return "";
    case Unit::count: return "count";
    case Unit::lufs: return "LUFS";
    case Unit::lu: return "LU";
    case Unit::dbtp: return "dBTP";
    case Unit::dbfs: return "dBFS";
    case Unit::db: return "dB";
    case Unit::hz: return "Hz";
    case Unit::seconds: return "s";
    case Unit::samples: return "samples";
    case Unit::bits: return "bits";
    case Unit::percent: return "%";
    case Unit::bytes: return "bytes";
    case Unit::kbit_s: return "kb/s";
  }
  return "";
}

std::string_view to_string(Group group) {
  switch (group) {
    case Group::format: return "Format";
    case Group::level: return "Level";
    case Group::stereo: return "Stereo";
    case Group::edges: return "Edges";
    case Group::continuity: return "Continuity";
    case Group::noise: return "Noise and truth";
    case Group::lossy: return "After encoding";
    case Group::exposure: return "Exposure";
    case Group::names: return "Names and tags";
  }
  return "";
}

std::string_view to_string(Status status) {
  switch (status) {
    case Status::pass: return "pass";
    case Status::note: return "note";
    case Status::warn: return "warn";
    case Status::fail: return "fail";
    case Status::not_measured: return "not measured";
    case Status::waived: return "waived";
  }
  return "not measured";
}

std::string_view to_string(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass: return "pass";
    case Verdict::warn: return "warn";
    case Verdict::fail: return "fail";
  }
  return "fail";
}

std::string_view to_string(Pair::Kind kind) {
  switch (kind) {
    case Pair::Kind::identical_bits: return "identical bits";
    case Pair::Kind::identical_audio: return "identical audio";
    case Pair::Kind::dither_only: return "dither only";
    case Pair::Kind::gain_only: return "gain only";
    case Pair::Kind::same_mix: return "same mix";
    case Pair::Kind::edited: return "edited";
    case Pair::Kind::different_mix: return "different mix";
  }
  return "different mix";
}

std::string_view to_string(LimitKind kind) {
  switch (kind) {
    case LimitKind::none: return "none";
    case LimitKind::above: return "above";
    case LimitKind::below: return "below";
    case LimitKind::unless: return "unless";
    case LimitKind::multiple_of: return "multiple_of";
    case LimitKind::matches: return "matches";
    case LimitKind::forbid: return "forbid";
    case LimitKind::require: return "require";
  }
  return "none";
}

const CatalogEntry* Catalog::find(std::string_view id) const {
  for (const auto* entry : entries) {
    if (entry->id == id) return entry;
  }
  return nullptr;
}

std::optional<double> number(const Outcome& outcome) {
  if (const auto* value = std::get_if<Value>(&outcome)) {
    if (const auto* real = std::get_if<double>(value)) return *real;
  }
  return std::nullopt;
}

Verdict verdict_of(const std::vector<Finding>& findings) {
  auto verdict = Verdict::pass;
  for (const auto& finding : findings) {
    if (finding.status == Status::fail || (finding.status == Status::not_measured && !finding.optional))
      return Verdict::fail;
    if (finding.status == Status::warn) verdict = Verdict::warn;
  }
  return verdict;
}

}  // namespace sendworthy

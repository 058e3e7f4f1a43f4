// `--expect KEY=VALUE`: a rule set from the command line.
#include <fmt/format.h>
#include <sendworthy/rule_set.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <set>

#include "base/text.h"
#include "judge/digest.h"
#include "judge/draft.h"
#include "judge/expect.h"

namespace sendworthy {
namespace {

using judge::in_quotes;

constexpr double kMostSeconds = 1e7;

std::vector<std::string_view> split(std::string_view text, char at) {
  std::vector<std::string_view> parts;
  for (;;) {
    const auto end = text.find(at);
    parts.push_back(text.substr(0, end));
    if (end == std::string_view::npos) return parts;
    text.remove_prefix(end + 1);
  }
}

std::optional<double> plain_number(std::string_view text) {
  if (!text.empty() && text.front() == '+') text.remove_prefix(1);
  double value = 0;
  const auto parsed = std::from_chars(text.data(), text.data() + text.size(), value);
  if (parsed.ec != std::errc() || parsed.ptr != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

// "215.5", "3:35.5", "1:02:03".
std::optional<double> seconds(std::string_view text) {
  const auto parts = split(text, ':');
  if (parts.size() > 3) return std::nullopt;
  double total = 0;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const auto value = plain_number(parts[i]);
    const bool whole = value && *value == std::floor(*value);
    if (!value || *value < 0 || (i + 1 < parts.size() && !whole) || (i > 0 && *value >= 60)) return std::nullopt;
    total = total * 60 + *value;
  }
  return total > kMostSeconds ? std::nullopt : std::optional(total);
}

std::optional<bool> truth(std::string_view text) {
  if (text == "true" || text == "yes") return true;
  if (text == "false" || text == "no") return false;
  return std::nullopt;
}

tl::unexpected<Error> wrong(std::string_view whole, std::string text) {
  return fail(ErrorCode::usage, fmt::format("--expect {}: {}", in_quotes(whole), text));
}

class Reader {
 public:
  Reader(std::string_view whole, const CatalogEntry& entry) : whole_(whole), entry_(entry) {}

  Result<std::vector<Comparison>> read(std::string_view text) {
    const auto range = text.find("..");
    if (is_number() && range != std::string_view::npos)
      return read_range(text.substr(0, range), text.substr(range + 2));
    const auto parts = split(text, '|');
    // A level is never a round number to the last bit: what is asked is the number as it is printed.
    const bool as_printed = is_number() && entry_.decimals > 0 && entry_.unit != Unit::seconds;
    if (as_printed && parts.size() == 1) return read_as_printed(text, entry_.decimals);
    // A round length is meant to the frame; one with as many decimals as the sheet prints, as far as they go.
    const auto point = text.rfind('.');
    if (entry_.unit == Unit::seconds && parts.size() == 1 && point != text.npos && point + 3 < text.size())
      return read_as_printed(text, static_cast<int>(std::min<std::size_t>(9, text.size() - point - 1)));
    if (as_printed) return fail_with("give one value or a range such as -16..-14");
    Comparison comparison;
    comparison.kind = LimitKind::unless;
    for (const auto part : parts) {
      auto value = read_value(part);
      if (!value) return tl::unexpected(value.error());
      comparison.accepted.push_back(std::move(*value));
    }
    return std::vector<Comparison>{comparison};
  }

 private:
  [[nodiscard]] bool is_number() const {
    return entry_.unit != Unit::text && entry_.unit != Unit::list && entry_.unit != Unit::boolean;
  }
  tl::unexpected<Error> fail_with(std::string text) const { return wrong(whole_, std::move(text)); }

  Result<double> read_number(std::string_view text) const {
    const auto value = entry_.unit == Unit::seconds ? seconds(text) : plain_number(text);
    if (value) return *value;
    if (entry_.unit == Unit::seconds)
      return fail_with(fmt::format("{} is no time; write seconds such as 215.5, or 3:35.5", in_quotes(text)));
    const auto unit = to_string(entry_.unit);
    return fail_with(fmt::format("{} is no number{}{}{}", in_quotes(text), unit.empty() ? "" : " of ", unit,
                                 unit.empty() ? "" : ", written without the unit"));
  }

  Result<Value> read_value(std::string_view text) const {
    if (entry_.unit == Unit::boolean) {
      const auto yes = truth(text);
      if (!yes) return fail_with(fmt::format("{} must be true or false", entry_.id));
      return Value(*yes);
    }
    if (!is_number()) return Value(std::string(text));
    const auto number = read_number(text);
    if (!number) return tl::unexpected(number.error());
    return Value(*number);
  }

  Result<std::vector<Comparison>> read_range(std::string_view low, std::string_view high) const {
    std::vector<Comparison> comparisons;
    for (const auto& [text, kind] : {std::pair{low, LimitKind::below}, {high, LimitKind::above}}) {
      if (text.empty()) continue;
      const auto number = read_number(text);
      if (!number) return tl::unexpected(number.error());
      Comparison comparison;
      comparison.kind = kind;
      comparison.number = *number;
      comparisons.push_back(comparison);
    }
    if (comparisons.empty()) return fail_with("a range needs at least one end, such as -16..-14 or ..-1");
    if (comparisons.size() == 2 && comparisons[0].number > comparisons[1].number)
      return fail_with("the range runs backwards");
    return order(comparisons);
  }

  Result<std::vector<Comparison>> read_as_printed(std::string_view text, int decimals) const {
    const auto number = read_number(text);
    if (!number) return tl::unexpected(number.error());
    const double half = 0.5 * std::pow(10.0, -decimals) * (1 + 1e-6);
    Comparison low, high;
    low.kind = LimitKind::below;
    low.number = *number - half;
    high.kind = LimitKind::above;
    high.number = *number + half;
    return order({low, high});
  }

  static std::vector<Comparison> order(std::vector<Comparison> comparisons) {
    std::stable_sort(comparisons.begin(), comparisons.end(),
                     [](const Comparison& a, const Comparison& b) { return a.kind < b.kind; });
    return comparisons;
  }

  std::string_view whole_;
  const CatalogEntry& entry_;
};

}  // namespace

namespace judge {
namespace {

std::string first_upper(std::string text) {
  if (!text.empty() && text.front() >= 'a' && text.front() <= 'z') text.front() = static_cast<char>(text.front() - 'a' + 'A');
  return text;
}

}  // namespace

Result<RuleSet> expectations_of(std::string_view who, const std::vector<std::string>& key_values, const Catalog& catalog) {
  const std::string by(who);
  RuleSet set;
  set.name = "expected";
  set.title = "Expected by " + by;
  set.purpose = "What " + by + " says this file must be.";
  set.sources = {by};
  set.origin = by;
  std::set<std::string_view> seen;
  for (const auto& whole : key_values) {
    const auto equals = whole.find('=');
    if (equals == std::string::npos || equals == 0) return wrong(whole, "write KEY=VALUE, such as sample_rate=96000");
    const std::string_view key = std::string_view(whole).substr(0, equals);
    const std::string_view value = std::string_view(whole).substr(equals + 1);
    const auto* entry = catalog.find(key);
    if (!entry) {
      return wrong(whole, fmt::format("unknown measurement {}{}", in_quotes(key),
                                      judge::did_you_mean(key, judge::ids_of(catalog))));
    }
    if (!seen.insert(entry->id).second) return wrong(whole, fmt::format("{} is given twice", entry->id));
    if (value.empty()) return wrong(whole, "the value is missing");
    auto comparisons = Reader(whole, *entry).read(value);
    if (!comparisons) return tl::unexpected(comparisons.error());
    Rule rule;
    rule.id = std::string(entry->id);
    std::replace(rule.id.begin(), rule.id.end(), '_', '-');
    rule.measure.id = std::string(entry->id);
    rule.measure.on_request = entry->on_request;
    rule.comparisons = std::move(*comparisons);
    rule.why = fmt::format("{} expects {}.", first_upper(by), base::for_terminal(whole));
    rule.remedy = "Bounce it again with these settings, or correct what is expected.";
    rule.source = by;
    set.rules.push_back(std::move(rule));
  }
  set.digest = judge::digest_of(set);
  return set;
}

}  // namespace judge

Result<RuleSet> expectations(const std::vector<std::string>& key_values, const Catalog& catalog) {
  auto set = judge::expectations_of("the command line", key_values, catalog);
  if (!set) return set;
  set->title = "Expected by the caller";
  set->digest = judge::digest_of(*set);
  return set;
}

}  // namespace sendworthy

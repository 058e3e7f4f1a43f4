#include "judge/words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"

namespace sendworthy::judge {
namespace {

constexpr int kMostDecimals = 9;

// As many decimals as the number needs to be itself, up to six: a limit of -0.45 must not be printed as -0.5.
int decimals_needed(double value, int at_least) {
  int decimals = std::max(at_least, 0);
  while (decimals < 6 &&
         std::fabs(std::stod(base::fixed(value, decimals)) - value) > 1e-9 * std::max(1.0, std::fabs(value)))
    ++decimals;
  return decimals;
}

std::string unit_suffix(Unit unit) {
  const auto word = unit == Unit::count ? std::string_view() : to_string(unit);
  return word.empty() ? std::string() : fmt::format(" {}", word);
}

std::string joined(const std::vector<std::string>& items, std::string_view last) {
  std::string text;
  for (std::size_t i = 0; i < items.size(); ++i) {
    if (i > 0) text += i + 1 == items.size() ? fmt::format(" {} ", last) : ", ";
    text += items[i];
  }
  return text;
}

std::string value_words(const Value& value, int decimals, std::optional<double> actual) {
  if (const auto* yes = std::get_if<bool>(&value)) return *yes ? "yes" : "no";
  if (const auto* text = std::get_if<std::string>(&value)) return base::for_terminal(*text);
  const double number = std::get<double>(value);
  int digits = decimals_needed(number, decimals);
  while (actual && digits < kMostDecimals && *actual != number &&
         base::fixed(*actual, digits) == base::fixed(number, digits))
    ++digits;
  return base::fixed(number, digits);
}

const Comparison* find(const Rule& rule, Status status, LimitKind kind) {
  const auto at = std::find_if(rule.comparisons.begin(), rule.comparisons.end(),
                               [&](const Comparison& c) { return c.status == status && c.kind == kind; });
  return at == rule.comparisons.end() ? nullptr : &*at;
}

// Calls visit(placeholder word, from, to) for every {word}; stops when visit returns false.
template <class Visit>
void each_placeholder(std::string_view text, Visit visit) {
  for (std::size_t open = text.find('{'); open != std::string_view::npos; open = text.find('{', open + 1)) {
    const auto close = text.find('}', open);
    if (close == std::string_view::npos) return;
    if (!visit(text.substr(open + 1, close - open - 1), open, close + 1)) return;
  }
}

const std::string* amount_for(std::string_view word, const Amounts& amounts) {
  if (word == "change") return &amounts.change;
  if (word == "direction") return &amounts.direction;
  if (word == "value") return &amounts.value;
  if (word == "limit") return &amounts.limit;
  if (word == "true_peak_after") return &amounts.true_peak_after;
  return nullptr;
}

// The clause with its amounts, or nothing when one of them is not known.
std::optional<std::string> fill_clause(std::string_view clause, const Amounts& amounts) {
  std::string out;
  std::size_t done = 0;
  bool known = true;
  each_placeholder(clause, [&](std::string_view word, std::size_t from, std::size_t to) {
    const auto* amount = amount_for(word, amounts);
    known = amount && !amount->empty();
    if (!known) return false;
    out += clause.substr(done, from - done);
    out += *amount;
    done = to;
    return true;
  });
  if (!known) return std::nullopt;
  return out + std::string(clause.substr(done));
}

}  // namespace

Unit unit_of_difference(Unit unit) {
  switch (unit) {
    case Unit::lufs:
      return Unit::lu;
    case Unit::dbtp:
    case Unit::dbfs:
      return Unit::db;
    case Unit::text:
    case Unit::list:
      return Unit::boolean;
    default:
      return unit;
  }
}

std::string limit_with_unit(double limit, Unit unit, int decimals) {
  return base::fixed(limit, decimals_needed(limit, decimals)) + unit_suffix(unit);
}

std::string value_with_unit(double value, Unit unit, int decimals) {
  return base::fixed(value, decimals) + unit_suffix(unit);
}

std::string number_list(std::vector<int> numbers) {
  std::sort(numbers.begin(), numbers.end());
  std::vector<std::string> parts;
  for (std::size_t i = 0; i < numbers.size();) {
    std::size_t last = i;
    while (last + 1 < numbers.size() && numbers[last + 1] <= numbers[last] + 1) ++last;
    if (numbers[last] >= numbers[i] + 2) {
      parts.push_back(fmt::format("{} to {}", numbers[i], numbers[last]));
    } else {
      for (int n = numbers[i]; n <= numbers[last]; ++n) parts.push_back(std::to_string(n));
    }
    i = last + 1;
  }
  return joined(parts, "or");
}

const std::vector<std::string_view>& placeholders() {
  static const std::vector<std::string_view> words{"change", "direction", "value", "limit", "true_peak_after"};
  return words;
}

std::string unknown_placeholder(std::string_view text) {
  std::string unknown;
  each_placeholder(text, [&](std::string_view word, std::size_t, std::size_t) {
    const auto& known = placeholders();
    if (std::find(known.begin(), known.end(), word) == known.end()) unknown = std::string(word.empty() ? " " : word);
    return unknown.empty();
  });
  return unknown;
}

std::string fill(std::string_view text, const Amounts& amounts) {
  std::string out;
  while (!text.empty()) {
    // A sentence ends with ". " or with the text; a full stop inside a number has no space behind it.
    const auto stop = text.find(". ");
    const auto sentence = text.substr(0, stop == std::string_view::npos ? text.size() : stop + 1);
    text.remove_prefix(std::min(text.size(), sentence.size() + 1));
    std::string kept;
    bool lost_end = false;
    for (std::string_view rest = sentence; !rest.empty();) {
      const auto semicolon = rest.find("; ");
      const auto clause = rest.substr(0, semicolon);
      rest = semicolon == std::string_view::npos ? std::string_view() : rest.substr(semicolon + 2);
      const auto filled = fill_clause(clause, amounts);
      lost_end = !filled;
      if (filled) kept += (kept.empty() ? "" : "; ") + *filled;
    }
    if (kept.empty()) continue;
    if (lost_end && sentence.back() == '.') kept += '.';
    out += (out.empty() ? "" : " ") + kept;
  }
  return out;
}

bool says_amount(std::string_view text) {
  bool says = false;
  each_placeholder(text, [&](std::string_view word, std::size_t, std::size_t) {
    says = says || word == "change";
    return !says;
  });
  return says;
}

std::string limit_words(const Rule& rule, const Comparison& decisive, Unit unit, int decimals,
                        std::optional<double> value) {
  const std::string suffix = unit_suffix(unit);
  switch (decisive.kind) {
    case LimitKind::above:
    case LimitKind::below: {
      const auto* low = find(rule, decisive.status, LimitKind::below);
      const auto* high = find(rule, decisive.status, LimitKind::above);
      const auto number = [&](const Comparison* c) { return value_words(Value(c->number), decimals, value); };
      if (low && high && low->number == high->number) return fmt::format("exactly {}{}", number(low), suffix);
      if (low && high) return fmt::format("between {} and {}{}", number(low), number(high), suffix);
      return high ? fmt::format("at most {}{}", number(high), suffix)
                  : fmt::format("at least {}{}", number(low), suffix);
    }
    case LimitKind::unless: {
      std::vector<std::string> words;
      for (const auto& accepted : decisive.accepted) words.push_back(value_words(accepted, decimals, value));
      if (rule.compare_to && unit == Unit::boolean)
        return fmt::format("{} {}", words.front() == "yes" ? "equal to" : "different from", rule.compare_to->id);
      if (words.size() == 1)
        return (unit == Unit::boolean ? words.front() : "exactly " + words.front()) + suffix;
      return fmt::format("one of {}{}", fmt::join(words, ", "), suffix);
    }
    case LimitKind::multiple_of:
      return fmt::format("a multiple of {}{}", value_words(Value(decisive.number), decimals, std::nullopt), suffix);
    case LimitKind::matches:
      return fmt::format("like \"{}\"", base::for_terminal(decisive.items.front()));
    case LimitKind::forbid:
    case LimitKind::require: {
      std::vector<std::string> words;
      for (const auto& item : decisive.items) words.push_back(base::for_terminal(item));
      return decisive.kind == LimitKind::forbid ? "without " + joined(words, "or") : "with " + joined(words, "and");
    }
    case LimitKind::none:
      break;
  }
  return {};
}

}  // namespace sendworthy::judge

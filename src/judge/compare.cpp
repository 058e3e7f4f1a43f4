#include "judge/compare.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "judge/pattern.h"

namespace sendworthy::judge {
namespace {

// Limits are written in decimals and levels are logarithms: neither is exact in binary, and a verdict must not hang on
// the last bit. 1e-9 is far below what any meter resolves; large counts are compared to their last few bits.
double guard(double scale) { return std::max(1e-9, 8 * std::numeric_limits<double>::epsilon() * std::fabs(scale)); }

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(' ');
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(' ') - first + 1);
}

double distance_to(double value, double accepted, int frames_per_s) {
  if (frames_per_s > 0) {
    const double frames = std::round(value * frames_per_s) - std::round(accepted * frames_per_s);
    return std::fabs(frames) / frames_per_s;
  }
  const double apart = std::fabs(value - accepted);
  return apart <= guard(std::max(std::fabs(value), std::fabs(accepted))) ? 0 : apart;
}

std::string joined(const std::vector<std::string>& items) {
  std::string text;
  for (const auto& item : items) text += (text.empty() ? "" : ", ") + item;
  return text;
}

std::optional<Value> limit_of(const Comparison& comparison, const Value& value, int frames_per_s) {
  switch (comparison.kind) {
    case LimitKind::above:
    case LimitKind::below:
    case LimitKind::multiple_of:
      return Value(comparison.number);
    case LimitKind::matches:
    case LimitKind::forbid:
    case LimitKind::require:
      return Value(joined(comparison.items));
    case LimitKind::unless: {
      if (comparison.accepted.size() == 1 || !std::holds_alternative<double>(value)) {
        if (comparison.accepted.size() == 1) return comparison.accepted.front();
        std::vector<std::string> texts;
        for (const auto& accepted : comparison.accepted) {
          if (const auto* text = std::get_if<std::string>(&accepted)) texts.push_back(*text);
        }
        return texts.empty() ? comparison.accepted.front() : Value(joined(texts));
      }
      const double number = std::get<double>(value);
      return *std::min_element(
          comparison.accepted.begin(), comparison.accepted.end(), [&](const Value& a, const Value& b) {
            const auto* x = std::get_if<double>(&a);
            const auto* y = std::get_if<double>(&b);
            return x && y && distance_to(number, *x, frames_per_s) < distance_to(number, *y, frames_per_s);
          });
    }
    case LimitKind::none:
      break;
  }
  return std::nullopt;
}

// Texts and truth values are in order or they are not.
bool accepts(const Comparison& comparison, const Value& value, const ValueKind& kind) {
  const auto* text = std::get_if<std::string>(&value);
  const auto has = [&](const std::string& wanted) {
    if (!kind.list) return same_text(trimmed(*text), trimmed(wanted), kind.ignore_case);
    const auto items = list_items(*text);
    return std::any_of(items.begin(), items.end(),
                       [&](std::string_view item) { return same_text(item, trimmed(wanted), kind.ignore_case); });
  };
  switch (comparison.kind) {
    case LimitKind::unless:
      return std::any_of(comparison.accepted.begin(), comparison.accepted.end(), [&](const Value& accepted) {
        const auto* wanted = std::get_if<std::string>(&accepted);
        return text && wanted ? same_text(*text, *wanted, kind.ignore_case) : accepted == value;
      });
    case LimitKind::matches: {
      const auto pattern = Pattern::compile(comparison.items.front());
      return text && pattern && pattern->matches(*text);
    }
    case LimitKind::forbid:
      return text && std::none_of(comparison.items.begin(), comparison.items.end(), has);
    case LimitKind::require:
      return text && std::all_of(comparison.items.begin(), comparison.items.end(), has);
    default:
      return false;
  }
}

int severity(Status status) { return static_cast<int>(status); }

}  // namespace

double beyond(double value, const Comparison& comparison, int frames_per_s) {
  double amount = 0;
  switch (comparison.kind) {
    case LimitKind::above:
      amount = value - comparison.number;
      break;
    case LimitKind::below:
      amount = comparison.number - value;
      break;
    case LimitKind::multiple_of:
      amount = std::fabs(value - std::round(value / comparison.number) * comparison.number);
      break;
    case LimitKind::unless: {
      amount = std::numeric_limits<double>::infinity();
      for (const auto& accepted : comparison.accepted) {
        if (const auto* number = std::get_if<double>(&accepted))
          amount = std::min(amount, distance_to(value, *number, frames_per_s));
      }
      return amount;
    }
    default:
      return std::numeric_limits<double>::infinity();
  }
  return amount <= guard(std::max(std::fabs(value), std::fabs(comparison.number))) ? std::min(amount, 0.0) : amount;
}

bool within(double amount, double tolerance, double scale) {
  return tolerance > 0 && amount <= tolerance + guard(scale);
}

Decision decide(const Rule& rule, const Value& value, const ValueKind& kind) {
  Decision worst;
  double nearest = std::numeric_limits<double>::infinity();
  const auto* number = std::get_if<double>(&value);
  for (const auto& comparison : rule.comparisons) {
    Decision one{Status::pass, &comparison, false, std::nullopt};
    double room = std::numeric_limits<double>::infinity();  // how far a passing value is from this limit
    if (number) {
      const double amount = beyond(*number, comparison, kind.frames_per_s);
      if (amount > 0) {
        one.within_tolerance =
            within(amount, rule.tolerance, std::max(std::fabs(*number), std::fabs(comparison.number)));
        one.status = one.within_tolerance && comparison.status == Status::fail ? Status::warn : comparison.status;
      } else if (comparison.kind == LimitKind::above || comparison.kind == LimitKind::below) {
        room = std::fabs(*number - comparison.number);
      }
    } else if (!accepts(comparison, value, kind)) {
      one.status = comparison.status;
    }
    const bool worse =
        severity(one.status) > severity(worst.status) ||
        (one.status == worst.status && one.status != Status::pass && worst.within_tolerance && !one.within_tolerance);
    const bool nearer = one.status == Status::pass && worst.status == Status::pass && room < nearest;
    if (!worst.comparison || worse || nearer) worst = one;
    if (nearer) nearest = room;
  }
  if (worst.comparison) worst.limit = limit_of(*worst.comparison, value, kind.frames_per_s);
  return worst;
}

bool same_text(std::string_view a, std::string_view b, bool ignore_case) {
  if (!ignore_case) return a == b;
  return a.size() == b.size() &&
         std::equal(a.begin(), a.end(), b.begin(), [](char x, char y) { return lower(x) == lower(y); });
}

std::vector<std::string_view> list_items(std::string_view list) {
  std::vector<std::string_view> items;
  while (!list.empty()) {
    const auto comma = list.find(',');
    const auto item = trimmed(list.substr(0, comma));
    if (!item.empty()) items.push_back(item);
    list = comma == std::string_view::npos ? std::string_view() : list.substr(comma + 1);
  }
  return items;
}

}  // namespace sendworthy::judge

#include "delivery/name_pattern.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.h"
#include "base/unicode.h"
#include "judge/draft.h"

namespace sendworthy::delivery {
namespace {

constexpr std::size_t kLongestName = 1024;

std::string with_underscores(std::string text) {
  std::ranges::replace(text, ' ', '_');
  return text;
}

/// How a field's value and a stretch of the name are held against each other: in one Unicode form.
std::string comparable(std::string_view text, bool any_case) { return any_case ? base::case_folded(text) : base::composed(text); }

bool any_case(std::string_view field) { return field == "version" || field == "role"; }

}  // namespace

const std::vector<std::string_view>& name_fields() {
  static const std::vector<std::string_view> kFields{"artist", "title", "version", "rate", "bits", "album", "client", "isrc", "role", "track", "channels"};
  return kFields;
}

std::string rate_field(int sample_rate) {
  // Whole hertz in thousands: at most three decimals, without zeros at the end.
  auto text = base::fixed(sample_rate / 1000.0, 3);
  while (text.ends_with('0')) text.pop_back();
  if (text.ends_with('.')) text.pop_back();
  return text;
}

Result<NamePattern> NamePattern::parse(std::string_view text) {
  NamePattern pattern;
  const auto bad = [](std::string words) { return fail(ErrorCode::rules, std::move(words)); };
  std::string literal;
  const auto flush = [&] {
    if (!literal.empty()) pattern.parts_.push_back({false, literal});
    literal.clear();
  };
  for (std::size_t at = 0; at < text.size(); ++at) {
    if (text[at] == '/') return bad("a pattern of names holds no slash; folders stand in an item's file");
    if (text[at] == '}') return bad("a pattern of names has a \"}\" without a \"{\" before it");
    if (text[at] != '{') {
      literal += text[at];
      continue;
    }
    const auto end = text.find('}', at);
    if (end == std::string_view::npos) return bad("a pattern of names has a \"{\" without a \"}\" behind it");
    const auto name = text.substr(at + 1, end - at - 1);
    const auto& known = name_fields();
    if (std::ranges::find(known, name) == known.end()) {
      std::string all;
      for (const auto one : known) all += fmt::format("{}{{{}}}", all.empty() ? "" : " ", one);
      return bad(fmt::format("no field of names is called {}{}; known are {}", judge::in_quotes(name), judge::did_you_mean(name, known), all));
    }
    flush();
    pattern.parts_.push_back({true, std::string(name)});
    at = end;
  }
  flush();
  if (pattern.parts_.size() > 64) return bad("a pattern of names has at most 64 parts");
  return pattern;
}

std::string NamePattern::expected(const Fields& fields) const {
  std::string name;
  for (const auto& part : parts_) {
    if (!part.field) {
      name += part.text;
      continue;
    }
    const auto found = fields.find(part.text);
    name += found == fields.end() || found->second.empty() ? "{" + part.text + "}" : with_underscores(found->second.front());
  }
  return name;
}

bool NamePattern::matches(std::string_view stem, const Fields& fields) const {
  const auto name = base::composed(stem);
  if (name.size() > kLongestName) return false;
  // The places at which the parts so far can end: few parts and short names, so that every way is tried in bounded time.
  std::set<std::size_t> ends{0};
  for (const auto& part : parts_) {
    std::set<std::size_t> next;
    const auto found = part.field ? fields.find(part.text) : fields.end();
    const bool anything = part.field && (found == fields.end() || found->second.empty());
    const std::vector<std::string> literal{part.text};
    for (const auto from : ends) {
      if (anything) {
        for (auto to = from + 1; to <= name.size(); ++to) next.insert(to);
        continue;
      }
      for (const auto& value : part.field ? found->second : literal) {
        const bool folds = part.field && any_case(part.text);
        // What the pattern itself holds stays as it is written.
        const auto wanted = comparable(part.field ? with_underscores(value) : value, folds);
        // Folding can change how many bytes a text takes.
        const auto shortest = folds ? std::size_t{1} : wanted.size(), longest = folds ? 2 * wanted.size() + 4 : wanted.size();
        for (auto length = shortest; length <= longest && from + length <= name.size(); ++length) {
          if (comparable(std::string_view(name).substr(from, length), folds) == wanted) next.insert(from + length);
        }
      }
    }
    ends = std::move(next);
    if (ends.empty()) return false;
  }
  return ends.contains(name.size());
}

bool NamePattern::uses(std::string_view field) const {
  return std::ranges::any_of(parts_, [&](const Part& part) { return part.field && part.text == field; });
}

}  // namespace sendworthy::delivery

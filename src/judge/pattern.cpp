#include "judge/pattern.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "base/text.h"

namespace sendworthy::judge {
namespace {

constexpr std::size_t kLongestPattern = 500;
constexpr std::size_t kMostStates = 4000;
constexpr std::size_t kMostSteps = 100000;
constexpr int kMostRepeats = 1000;
constexpr int kDeepest = 40;
constexpr std::size_t kLongestText = 65536;
constexpr char32_t kHighest = 0x10FFFF;

std::u32string code_points(std::string_view text) {
  const std::string clean = base::clean_utf8(text);  // well-formed from here on
  std::u32string out;
  for (std::size_t i = 0; i < clean.size();) {
    const auto first = static_cast<unsigned char>(clean[i]);
    const int length = first < 0x80 ? 1 : first < 0xE0 ? 2 : first < 0xF0 ? 3 : 4;
    char32_t code = length == 1 ? first : first & (0xFFu >> (length + 1));
    for (int k = 1; k < length; ++k)
      code = code << 6 | (static_cast<unsigned char>(clean[i + static_cast<std::size_t>(k)]) & 0x3Fu);
    out += code;
    i += static_cast<std::size_t>(length);
  }
  return out;
}

struct CharacterSet {
  std::vector<std::pair<char32_t, char32_t>> ranges;
  bool negated = false;
  [[nodiscard]] bool holds(char32_t c) const {
    const bool inside =
        std::any_of(ranges.begin(), ranges.end(), [c](const auto& r) { return c >= r.first && c <= r.second; });
    return inside != negated;
  }
};

struct Piece {
  enum class Kind { set, start, end, sequence, choice, repeat };
  Kind kind = Kind::sequence;
  CharacterSet set;
  std::vector<Piece> parts;  // sequence, choice; repeat: one
  int least = 0, most = 0;   // repeat; most -1: no end
};

CharacterSet digits() { return {{{'0', '9'}}, false}; }
CharacterSet word_signs() { return {{{'0', '9'}, {'A', 'Z'}, {'_', '_'}, {'a', 'z'}}, false}; }
CharacterSet spaces() { return {{{'\t', '\r'}, {' ', ' '}}, false}; }

std::optional<CharacterSet> named_set(char32_t letter) {
  CharacterSet set;
  switch (letter) {
    case 'd':
    case 'D':
      set = digits();
      break;
    case 'w':
    case 'W':
      set = word_signs();
      break;
    case 's':
    case 'S':
      set = spaces();
      break;
    default:
      return std::nullopt;
  }
  set.negated = letter < 'a';
  return set;
}

void add_all(CharacterSet& to, const CharacterSet& from) {
  if (!from.negated) {
    to.ranges.insert(to.ranges.end(), from.ranges.begin(), from.ranges.end());
    return;
  }
  char32_t next = 0;  // the ranges of the named sets are sorted
  for (const auto& [first, last] : from.ranges) {
    if (first > next) to.ranges.emplace_back(next, first - 1);
    next = last + 1;
  }
  to.ranges.emplace_back(next, kHighest);
}

bool ascii_letter(char32_t c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }

class Reader {
 public:
  explicit Reader(std::u32string text) : text_(std::move(text)) {
    if (text_.substr(0, 4) == U"(?i)") {
      ignore_case_ = true;
      at_ = 4;
    }
  }

  std::optional<Piece> read() {
    auto piece = choice(0);
    if (piece && at_ < text_.size()) return wrong("a ) without its (");
    return piece;
  }
  std::string error;

 private:
  std::nullopt_t wrong(std::string text) {
    if (error.empty()) error = std::move(text);
    return std::nullopt;
  }
  [[nodiscard]] bool more() const { return at_ < text_.size(); }
  [[nodiscard]] char32_t peek(std::size_t ahead = 0) const {
    return at_ + ahead < text_.size() ? text_[at_ + ahead] : 0;
  }

  std::optional<Piece> choice(int depth) {
    if (depth > kDeepest) return wrong("groups nested too deep");
    Piece all;
    all.kind = Piece::Kind::choice;
    for (;;) {
      auto one = sequence(depth);
      if (!one) return std::nullopt;
      all.parts.push_back(std::move(*one));
      if (peek() != '|' || !more()) break;
      ++at_;
    }
    if (all.parts.size() == 1) {
      Piece only = std::move(all.parts.front());
      return only;
    }
    return all;
  }

  std::optional<Piece> sequence(int depth) {
    Piece all;
    while (more() && peek() != '|' && peek() != ')') {
      auto one = atom(depth);
      if (!one) return std::nullopt;
      auto repeated = repeats(std::move(*one));
      if (!repeated) return std::nullopt;
      all.parts.push_back(std::move(*repeated));
    }
    return all;
  }

  std::optional<Piece> atom(int depth) {
    const char32_t c = text_[at_++];
    Piece piece;
    piece.kind = Piece::Kind::set;
    switch (c) {
      case '.':
        piece.set = {{{0, kHighest}}, false};
        return piece;
      case '^':
        piece.kind = Piece::Kind::start;
        return piece;
      case '$':
        piece.kind = Piece::Kind::end;
        return piece;
      case '(': {
        if (peek() == '?') {
          if (peek(1) != ':') return wrong("only (?: and a leading (?i) are known after (?");
          at_ += 2;
        }
        auto inner = choice(depth + 1);
        if (!inner) return std::nullopt;
        if (peek() != ')' || !more()) return wrong("a ( without its )");
        ++at_;
        return inner;
      }
      case '[':
        return bracket();
      case '*':
      case '+':
      case '?':
      case '{':
        return wrong(fmt::format("nothing to repeat before {}", static_cast<char>(c)));
      case '\\': {
        if (!more()) return wrong("a \\ at the end");
        const char32_t escaped = text_[at_++];
        if (const auto named = named_set(escaped)) {
          piece.set = *named;
          return piece;
        }
        const auto literal = escaped_sign(escaped);
        if (!literal) return std::nullopt;
        piece.set = {{{*literal, *literal}}, false};
        return piece;
      }
      default:
        piece.set = sign(c);
        return piece;
    }
  }

  CharacterSet sign(char32_t c) const {
    CharacterSet set{{{c, c}}, false};
    if (ignore_case_ && ascii_letter(c)) set.ranges.emplace_back(c ^ 0x20u, c ^ 0x20u);
    return set;
  }

  std::optional<char32_t> escaped_sign(char32_t c) {
    if (c == 't') return U'\t';
    if (c == 'n') return U'\n';
    if (ascii_letter(c) || (c >= '0' && c <= '9')) return wrong(fmt::format("\\{} is not known", static_cast<char>(c)));
    return c;
  }

  std::optional<Piece> bracket() {
    Piece piece;
    piece.kind = Piece::Kind::set;
    if (peek() == '^') {
      piece.set.negated = true;
      ++at_;
    }
    for (bool first = true;; first = false) {
      if (!more()) return wrong("a [ without its ]");
      char32_t low = text_[at_++];
      if (low == ']' && !first) break;
      if (low == '\\') {
        if (!more()) return wrong("a \\ at the end");
        const char32_t escaped = text_[at_++];
        if (const auto named = named_set(escaped)) {
          add_all(piece.set, *named);
          continue;
        }
        const auto literal = escaped_sign(escaped);
        if (!literal) return std::nullopt;
        low = *literal;
      }
      char32_t high = low;
      if (peek() == '-' && peek(1) != ']' && at_ + 1 < text_.size()) {
        ++at_;
        high = text_[at_++];
        if (high == '\\') {
          if (!more()) return wrong("a \\ at the end");
          const auto literal = escaped_sign(text_[at_++]);
          if (!literal) return std::nullopt;
          high = *literal;
        }
        if (high < low) return wrong("a range in [ ] that runs backwards");
      }
      piece.set.ranges.emplace_back(low, high);
      if (ignore_case_) {
        // Only the letters of the range have another case; elsewhere bit 0x20 means something else.
        for (const auto& [first_letter, last_letter] : {std::pair<char32_t, char32_t>{'a', 'z'}, {'A', 'Z'}}) {
          const char32_t from = std::max(low, first_letter), to = std::min(high, last_letter);
          if (from <= to) piece.set.ranges.emplace_back(from ^ 0x20u, to ^ 0x20u);
        }
      }
    }
    return piece;
  }

  std::optional<Piece> repeats(Piece piece) {
    int stacked = 0;
    for (;;) {
      int least = 0, most = -1;
      const char32_t c = more() ? peek() : U'\0';
      if (c == '*') {
        ++at_;
      } else if (c == '+') {
        least = 1;
        ++at_;
      } else if (c == '?') {
        most = 1;
        ++at_;
      } else if (c == '{') {
        ++at_;
        const auto count = [&]() -> std::optional<int> {
          int value = -1;
          while (peek() >= '0' && peek() <= '9') {
            value = std::min(std::max(value, 0) * 10 + static_cast<int>(peek() - '0'), kMostRepeats + 1);
            ++at_;
          }
          if (value < 0) return std::nullopt;
          return value;
        };
        const auto first = count();
        if (!first) return wrong("{ } needs numbers, as in {2,4}");
        least = *first;
        most = least;
        if (peek() == ',') {
          ++at_;
          most = count().value_or(-1);
        }
        if (peek() != '}' || !more()) return wrong("a { without its }");
        ++at_;
        if (least > kMostRepeats || most > kMostRepeats)
          return wrong(fmt::format("more than {} repeats", kMostRepeats));
        if (most >= 0 && most < least) return wrong("{ } with the larger number first");
      } else {
        return piece;
      }
      if (++stacked > 1) return wrong("two repeats in a row");
      if (peek() == '?' && more()) ++at_;  // "as few as possible" changes no yes or no
      Piece repeat;
      repeat.kind = Piece::Kind::repeat;
      repeat.least = least;
      repeat.most = most;
      repeat.parts.push_back(std::move(piece));
      piece = std::move(repeat);
    }
  }

  std::u32string text_;
  std::size_t at_ = 0;
  bool ignore_case_ = false;
};

struct State {
  enum class Kind { set, start, end, fork, jump, found };
  Kind kind = Kind::found;
  std::size_t set = 0;
  std::size_t next = 0, other = 0;
};

}  // namespace

struct Pattern::Program {
  std::vector<State> states;
  std::vector<CharacterSet> sets;
  bool free_start = false;  // may begin anywhere
  bool free_end = false;    // may end anywhere
  std::size_t steps = 0;    // repeats of nothing add no state, yet take time

  // Writes the states of `piece` at the end; false when there would be too many.
  bool add(const Piece& piece) {
    using Kind = State::Kind;
    if (states.size() > kMostStates || ++steps > kMostSteps) return false;
    switch (piece.kind) {
      case Piece::Kind::set:
        sets.push_back(piece.set);
        states.push_back({Kind::set, sets.size() - 1, states.size() + 1, 0});
        return true;
      case Piece::Kind::start:
        states.push_back({Kind::start, 0, states.size() + 1, 0});
        return true;
      case Piece::Kind::end:
        states.push_back({Kind::end, 0, states.size() + 1, 0});
        return true;
      case Piece::Kind::sequence:
        return std::all_of(piece.parts.begin(), piece.parts.end(), [this](const Piece& part) { return add(part); });
      case Piece::Kind::choice: {
        std::vector<std::size_t> jumps;
        for (std::size_t i = 0; i < piece.parts.size(); ++i) {
          const bool last = i + 1 == piece.parts.size();
          const std::size_t fork = states.size();
          if (!last) states.push_back({Kind::fork, 0, fork + 1, 0});
          if (!add(piece.parts[i])) return false;
          if (last) break;
          jumps.push_back(states.size());
          states.push_back({Kind::jump, 0, 0, 0});
          states[fork].other = states.size();
        }
        for (const auto jump : jumps) states[jump].next = states.size();
        return true;
      }
      case Piece::Kind::repeat: {
        for (int i = 0; i < piece.least; ++i) {
          if (!add(piece.parts.front())) return false;
        }
        if (piece.most < 0) {
          const std::size_t fork = states.size();
          states.push_back({Kind::fork, 0, fork + 1, 0});
          if (!add(piece.parts.front())) return false;
          states.push_back({Kind::jump, 0, fork, 0});
          states[fork].other = states.size();
          return true;
        }
        std::vector<std::size_t> forks;
        for (int i = piece.least; i < piece.most; ++i) {
          forks.push_back(states.size());
          states.push_back({Kind::fork, 0, states.size() + 1, 0});
          if (!add(piece.parts.front())) return false;
        }
        for (const auto fork : forks) states[fork].other = states.size();
        return true;
      }
    }
    return false;
  }
};

Result<Pattern> Pattern::compile(std::string_view expression) {
  const std::u32string text = code_points(expression);
  if (text.size() > kLongestPattern)
    return fail(ErrorCode::rules, fmt::format("longer than {} characters", kLongestPattern));
  if (text.empty()) return fail(ErrorCode::rules, "an empty pattern matches everything");
  Reader reader(text);
  const auto piece = reader.read();
  if (!piece) return fail(ErrorCode::rules, reader.error);
  auto program = std::make_shared<Program>();
  if (!program->add(*piece) || program->states.size() > kMostStates)
    return fail(ErrorCode::rules, "too many repeats inside repeats");
  program->states.push_back({State::Kind::found, 0, 0, 0});
  const std::u32string body = text.substr(0, 4) == U"(?i)" ? text.substr(4) : text;
  const bool anchored_start = !body.empty() && body.front() == '^';
  bool anchored_end = false;
  if (!body.empty() && body.back() == '$') {
    std::size_t slashes = 0;  // \$ is a dollar sign
    while (slashes + 1 < body.size() && body[body.size() - 2 - slashes] == '\\') ++slashes;
    anchored_end = slashes % 2 == 0;
  }
  program->free_start = !anchored_start;
  program->free_end = !anchored_end;
  Pattern pattern;
  pattern.program_ = std::move(program);
  return pattern;
}

bool Pattern::matches(std::string_view text) const {
  if (text.size() > kLongestText) return false;
  const std::u32string signs = code_points(text);
  const auto& states = program_->states;
  // All states that can be reached so far, advanced one character at a time: no way back, so no explosion.
  std::vector<std::size_t> now, next, stack;
  std::vector<std::size_t> seen(states.size(), 0);
  std::size_t round = 0;
  bool found = false;
  const auto enter = [&](std::size_t from, std::size_t position, std::vector<std::size_t>& list) {
    stack.push_back(from);
    while (!stack.empty()) {
      const std::size_t s = stack.back();
      stack.pop_back();
      if (seen[s] == round) continue;
      seen[s] = round;
      switch (states[s].kind) {
        case State::Kind::set:
          list.push_back(s);
          break;
        case State::Kind::start:
          if (position == 0) stack.push_back(states[s].next);
          break;
        case State::Kind::end:
          if (position == signs.size()) stack.push_back(states[s].next);
          break;
        case State::Kind::fork:
          stack.push_back(states[s].other);
          stack.push_back(states[s].next);
          break;
        case State::Kind::jump:
          stack.push_back(states[s].next);
          break;
        case State::Kind::found:
          found = found || program_->free_end || position == signs.size();
          break;
      }
    }
  };
  ++round;
  enter(0, 0, now);
  for (std::size_t i = 0; i < signs.size() && !found; ++i) {
    next.clear();
    ++round;
    for (const auto s : now) {
      if (program_->sets[states[s].set].holds(signs[i])) enter(states[s].next, i + 1, next);
    }
    if (program_->free_start) enter(0, i + 1, next);
    std::swap(now, next);
    if (now.empty() && !program_->free_start) break;
  }
  return found;
}

}  // namespace sendworthy::judge

#include "song/plan_notes.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <set>
#include <vector>

#include "base/text.h"
#include "base/toml_places.h"
#include "base/toml_text.h"

namespace sendworthy::song {
namespace {

// Behind what a key means, as starting_plan writes it: what somebody else wrote is no note.
constexpr std::string_view kMeasured = "; measured: ", kBefore = "; measured before the sections were changed: ", kEarlier = "; measured on an earlier bounce: ",
                           kGuess = "a guess: it is the ", kGuessedRank = "a guess by role";
constexpr std::array<std::string_view, 6> kTables{"vocal", "backing", "dynamics", "low_end", "masking", "quiet"};

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t\r\n");
  return first == std::string_view::npos ? std::string_view() : text.substr(first, text.find_last_not_of(" \t\r\n") + 1 - first);
}

std::string_view without_hash(std::string_view comment) {
  comment = trimmed(comment);
  while (comment.starts_with('#')) comment = trimmed(comment.substr(1));
  return comment;
}

std::optional<double> number_in(std::string_view text) {
  text = trimmed(text);
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  return error == std::errc() && end == text.data() + text.size() ? std::optional(value) : std::nullopt;
}

/// The value of "# key = value   # …", and what stands behind it.
struct Waiting {
  std::string_view key, value, words;
};

std::optional<Waiting> waiting_in(std::string_view comment) {
  const auto key = base::key_in_comment(comment);
  if (key.empty()) return std::nullopt;
  auto rest = comment.substr(static_cast<std::size_t>(key.data() + key.size() - comment.data()));
  rest = trimmed(rest.substr(rest.find('=') + 1));
  const auto hash = rest.find('#');
  return Waiting{key, trimmed(rest.substr(0, hash)), hash == std::string_view::npos ? std::string_view() : without_hash(rest.substr(hash))};
}

decltype(PlanNotes::OfKey::value) value_in(std::string_view literal) {
  if (const auto number = number_in(literal)) return *number;
  if (const auto text = base::toml_string(literal)) return *text;
  if (const auto comma = literal.find(','); literal.starts_with('[') && literal.ends_with(']') && comma != std::string_view::npos) {
    const auto low = number_in(literal.substr(1, comma - 1)), high = number_in(literal.substr(comma + 1, literal.size() - comma - 2));
    if (low && high) return Range{*low, *high};
  }
  return {};
}

class Reader {
 public:
  explicit Reader(const base::TomlText& text) : text_(text) {}

  PlanNotes read() {
    for (const auto table : kTables) {
      for (const auto block : text_.tables(table)) keys_of(std::string(table), block);
    }
    for (const auto block : text_.blocks("section")) section(block);
    for (const auto block : text_.blocks("stem")) stem(block);
    return std::move(notes_);
  }

 private:
  void keys_of(const std::string& table, std::size_t block) {
    for (const auto& [comment, key] : text_.comments(block)) {
      const auto waits = key.empty() ? waiting_in(comment) : std::nullopt;
      const auto words = measured_in(waits ? waits->words : comment);
      if (words.empty() || (key.empty() && !waits)) continue;
      auto& note = notes_.keys[table + "." + std::string(waits ? waits->key : key)];
      note.words = std::string(words);
      if (waits) note.value = value_in(waits->value);
    }
  }

  [[nodiscard]] std::optional<std::string> name_of(std::size_t block) const {
    const auto literal = text_.literal(block, "name");
    return literal ? base::toml_string(*literal) : std::nullopt;
  }

  void section(std::size_t block) {
    const auto name = name_of(block);
    if (!name) return;
    PlanNotes::OfSection note;
    for (const auto& [comment, key] : text_.comments(block)) {
      if (key == "start" && is_loudness(comment)) note.measured = std::string(without_hash(comment));
      if (!key.empty()) continue;
      note.biggest = note.biggest || is_guess_of(comment, "biggest");
      note.quietest = note.quietest || is_guess_of(comment, "quietest");
    }
    notes_.sections.emplace(*name, std::move(note));
  }

  void stem(std::size_t block) {
    const auto name = name_of(block);
    if (!name) return;
    PlanNotes::OfStem note;
    for (const auto& [comment, key] : text_.comments(block)) {
      if (key == "name" && is_loudness(comment)) note.measured = std::string(without_hash(comment));
      const auto waits = key.empty() ? waiting_in(comment) : std::nullopt;
      const auto rank = waits && waits->key == "priority" && waits->words.starts_with(kGuessedRank) ? number_in(waits->value) : std::nullopt;
      if (rank && *rank >= 1 && *rank <= 99) note.priority = static_cast<int>(*rank);
    }
    notes_.stems.emplace(*name, std::move(note));
  }

  const base::TomlText& text_;
  PlanNotes notes_;
};

}  // namespace

PlanNotes plan_notes(std::string_view toml) {
  const auto text = base::TomlText::of(std::string(toml));
  return text ? Reader(*text).read() : PlanNotes{};
}

std::string_view measured_in(std::string_view comment) {
  const auto at = std::min({comment.find(kMeasured), comment.find(kBefore), comment.find(kEarlier)});
  return at == std::string_view::npos ? std::string_view() : trimmed(comment.substr(at + 1));
}

bool is_loudness(std::string_view comment) {
  const auto words = without_hash(comment);
  const auto unit = words.find(" LUFS");
  if (unit == std::string_view::npos || !number_in(words.substr(0, unit))) return false;
  const auto rest = words.substr(unit + 5);
  return rest.empty() || rest == ", fades out" || rest.starts_with(", plays for ");
}

bool is_guess_of(std::string_view comment, std::string_view key) {
  const auto waits = waiting_in(comment);
  return waits && waits->key == key && waits->value == "true" && waits->words.starts_with(kGuess);
}

std::string measured_before(std::string_view comment) {
  std::string words(comment);
  if (const auto at = words.find(kMeasured); at != std::string::npos) words.replace(at, kMeasured.size(), kBefore);
  return words;
}

void age_notes_of_mix(base::TomlText& text) {
  for (const auto block : text.blocks("section")) {
    for (const auto& comment : text.comments(block)) {
      const bool loudness = comment.key == "start" && is_loudness(comment.text);
      const bool guess = comment.key.empty() && (is_guess_of(comment.text, "biggest") || is_guess_of(comment.text, "quietest"));
      if (loudness || guess) text.put_comment(comment, {});
    }
  }
  for (const auto table : kTables) {
    for (const auto block : text.tables(table)) {
      for (const auto& comment : text.comments(block)) {
        std::string words(comment.text);
        // Of an earlier bounce it is, whatever became of the sections meanwhile.
        for (const auto now : {kMeasured, kBefore}) {
          if (const auto at = words.find(now); at != std::string::npos) words.replace(at, now.size(), kEarlier);
        }
        if (words != comment.text) text.put_comment(comment, words);
      }
    }
  }
}

}  // namespace sendworthy::song

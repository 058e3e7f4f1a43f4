#include "song/plan_edit.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <set>
#include <tuple>
#include <utility>

#include "base/table.h"
#include "base/text.h"
#include "judge/draft.h"
#include "song/plan_change.h"
#include "song/plan_notes.h"

namespace sendworthy::song {
namespace {

using judge::in_quotes;

enum class Kind { line, lines, path };
struct TextSlot {
  std::string* text;
  Kind kind;
};
/// Where the plan keeps a key's value.
using Slot = std::variant<std::monostate, TextSlot, std::optional<Range>*, std::optional<double>*, double*, bool*, Lowest*>;

Slot slot_of(Plan& plan, std::string_view key) {
  const std::array<std::pair<std::string_view, Slot>, 20> slots{{
      {"song.title", TextSlot{&plan.title, Kind::line}},
      {"song.artist", TextSlot{&plan.artist, Kind::line}},
      {"song.feeling", TextSlot{&plan.feeling, Kind::lines}},
      {"song.approach", TextSlot{&plan.approach, Kind::lines}},
      {"song.mix", TextSlot{&plan.mix, Kind::path}},
      {"song.previous", TextSlot{&plan.previous, Kind::path}},
      {"vocal.above_band", &plan.above_band_lu},
      {"backing.under_lead", &plan.under_lead_lu},
      {"dynamics.quiet_to_loud", &plan.dynamics.quiet_to_loud_lu},
      {"dynamics.biggest_margin", &plan.dynamics.biggest_margin_lu},
      {"dynamics.movement", &plan.dynamics.movement_db},
      {"low_end.below_hz", &plan.low_end.below_hz},
      {"low_end.lowest", &plan.low_end.lowest},
      {"low_end.kick_over_bass", &plan.low_end.kick_over_bass_db},
      {"low_end.bass_steadiness", &plan.low_end.bass_steadiness_db},
      {"masking.most", &plan.most_masked_percent},
      {"quiet.level_db_spl", &plan.quiet.level_db_spl},
      {"quiet.reference_db_spl", &plan.quiet.reference_db_spl},
      {"quiet.small_speaker", &plan.quiet.small_speaker},
      {"quiet.moved", &plan.quiet.moved_db},
  }};
  const auto found = std::ranges::find(slots, key, &std::pair<std::string_view, Slot>::first);
  return found != slots.end() ? found->second : Slot();
}

tl::unexpected<Error> wrong_edit(std::string text) { return fail(ErrorCode::usage, std::move(text)); }

std::string decimal(double value) {
  auto text = base::shortest(value + 0.0);
  if (text.find_first_of(".e") == std::string::npos) text += ".0";
  return text;
}

std::string range_in_place_of(std::optional<std::string_view> old, const std::optional<Range>& range) {
  const auto numbers = range ? decimal(range->low) + ", " + decimal(range->high) : std::string();
  const auto array = old ? base::toml_array(*old, {0, old->size()}) : std::nullopt;
  if (!array || old->find('#') == std::string_view::npos) return "[" + numbers + "]";
  if (range && array->elements.size() == 2) {
    const auto low = array->elements[0], high = array->elements[1];
    return std::string(old->substr(0, low.begin)) + decimal(range->low) + std::string(old->substr(low.end, high.begin - low.end)) + decimal(range->high) +
           std::string(old->substr(high.end));
  }
  std::string kept;
  std::size_t at = 1;
  const auto leave_out = [&](const base::Span& part) {
    kept.append(*old, at, part.begin - at);
    at = part.end;
  };
  for (std::size_t i = 0; i < array->elements.size(); ++i) {
    leave_out(array->elements[i]);
    if (i < array->commas.size()) leave_out(array->commas[i]);
  }
  return "[" + numbers + kept + std::string(old->substr(at));
}

class KeySetter {
 public:
  KeySetter(PlanChange& change, const SetKey& wanted, base::TomlText& text)
      : wanted_(wanted), text_(text), dot_(wanted.key.find('.')), slot_(slot_of(change.plan, wanted.key)), fallback_(slot_of(none_, wanted.key)) {}

  Result<void> set() {
    return std::visit([this](const auto& slot) { return into(slot); }, slot_);
  }

 private:
  [[nodiscard]] std::string_view table() const { return std::string_view(wanted_.key).substr(0, dot_); }
  [[nodiscard]] std::string_view key() const { return std::string_view(wanted_.key).substr(dot_ + 1); }
  [[nodiscard]] bool unset() const { return std::holds_alternative<std::monostate>(wanted_.to); }
  template <class T>
  [[nodiscard]] const T* given() const { return std::get_if<T>(&wanted_.to); }
  [[nodiscard]] tl::unexpected<Error> wants(std::string_view what) const { return wrong_edit(fmt::format("{} wants {}", in_quotes(wanted_.key), what)); }

  Result<void> into(std::monostate) const { return wrong_edit(fmt::format("a plan has no key {} that can be set", in_quotes(wanted_.key))); }

  Result<void> into(const TextSlot& slot) {
    if (!unset() && given<std::string>() == nullptr) return wants("a text");
    auto text = unset() ? std::string() : *given<std::string>();
    if (slot.kind == Kind::lines && base::is_blank(text)) text.clear();
    const auto meant = slot.kind == Kind::path ? base::from_folder_of({}, text) : text;
    if (meant == *slot.text) return {};
    *slot.text = meant;
    text_.put(table(), key(), text_literal(std::move(text)));
    return {};
  }

  Result<void> into(std::optional<Range>* slot) {
    if (!unset() && given<Range>() == nullptr) return wants("a range");
    const auto range = unset() ? std::nullopt : std::optional(*given<Range>());
    if (range == *slot) return {};
    *slot = range;
    text_.put(table(), key(), range_literal(range));
    return {};
  }

  Result<void> into(std::optional<double>* slot) {
    if (!unset() && given<double>() == nullptr) return wants("a number");
    const auto number = unset() ? std::nullopt : std::optional(*given<double>());
    if (number == *slot) return {};
    *slot = number;
    put_or_drop(number);
    return {};
  }

  Result<void> into(double* slot) {
    if (!unset() && given<double>() == nullptr) return wants("a number");
    if (!unset() && *given<double>() == *slot) return {};
    put_or_drop(unset() ? std::nullopt : std::optional(*given<double>()));
    *slot = unset() ? *std::get<double*>(fallback_) : *given<double>();
    return {};
  }

  Result<void> into(bool* slot) {
    if (!unset() && given<bool>() == nullptr) return wants("true or false");
    if (!unset() && *given<bool>() == *slot) return {};
    if (unset()) {
      text_.drop(table(), key());
    } else {
      text_.put(table(), key(), base::plain_literal(*given<bool>() ? "true" : "false"));
    }
    *slot = unset() ? *std::get<bool*>(fallback_) : *given<bool>();
    return {};
  }

  Result<void> into(Lowest* slot) {
    const auto word = unset() ? std::string() : given<std::string>() != nullptr ? *given<std::string>() : "?";
    for (const auto lowest : {Lowest::not_stated, Lowest::kick, Lowest::bass}) {
      if (to_string(lowest) != word) continue;
      if (lowest == *slot) return {};
      *slot = lowest;
      text_.put(table(), key(), text_literal(word));
      return {};
    }
    return wants("\"kick\", \"bass\" or \"\"");
  }

  void put_or_drop(std::optional<double> number) {
    if (!number) return text_.drop(table(), key());
    text_.put(table(), key(), base::plain_literal(base::shortest(*number + 0.0)));
  }

  const SetKey& wanted_;
  base::TomlText& text_;
  std::size_t dot_;
  Plan none_;
  Slot slot_, fallback_;
};

/// Of the plan's; nothing for "".
template <class T>
Result<std::optional<std::size_t>> named(const std::vector<T>& all, std::string_view what, const std::string& name) {
  if (name.empty()) return std::optional<std::size_t>();
  const auto found = std::ranges::find(all, name, &T::name);
  if (found == all.end()) return wrong_edit(fmt::format("the plan has no {} called {}", what, in_quotes(name)));
  return std::optional(static_cast<std::size_t>(found - all.begin()));
}

/// Of a change to the plan's question, in both; `put` and `drop` take a key.
template <class Put, class Drop>
Result<void> change_question(const Plan& plan, Question& question, const QuestionChange& to, const Put& put, const Drop& drop) {
  if (to.text && *to.text != question.text) {
    question.text = *to.text;
    put("text", text_literal(*to.text));
  }
  const auto place = [&](std::string_view key, const std::optional<std::string>& name, const auto& all, std::optional<std::size_t>& target) -> Result<void> {
    if (!name) return {};
    const auto found = named(all, key, *name);
    if (!found) return tl::unexpected(found.error());
    if (*found == target) return {};
    target = *found;
    if (target) put(key, text_literal(*name));
    if (!target) drop(key);
    return {};
  };
  if (const auto ok = place("section", to.section, plan.sections, question.section); !ok) return ok;
  if (const auto ok = place("stem", to.stem, plan.stems, question.stem); !ok) return ok;
  if (to.heard && *to.heard != question.heard) {
    question.heard = *to.heard;
    put("heard", text_literal(std::string(to_string(*to.heard))));
  }
  return {};
}

Result<std::size_t> question_called(const Plan& plan, const std::string& id) {
  const auto found = std::ranges::find(plan.questions, id, &Question::id);
  if (found == plan.questions.end()) return wrong_edit(fmt::format("the plan has no question {}", in_quotes(id)));
  return static_cast<std::size_t>(found - plan.questions.begin());
}

// What a plan means, without the places in its text. Every member is named, so that no new one is forgotten.

auto meaning(const Section& section) {
  const auto& [name, start_s, end_s, own_end, biggest, quietest, vocal_lu, place] = section;
  return std::tuple(name, start_s, end_s, own_end, biggest, quietest, vocal_lu);
}
auto meaning(const Stem& stem) {
  const auto& [name, file, role, priority, place] = stem;
  return std::tuple(name, file, role, priority);
}
auto meaning(const Reference& reference) {
  const auto& [file, place] = reference;
  return std::tuple(file);
}
auto meaning(const Question& question) {
  const auto& [id, text, section, stem, heard, place] = question;
  return std::tuple(id, text, section, stem, heard);
}
auto meaning(const Waiver& waiver) {
  const auto& [rule, files, audio_digest, from_s, to_s, reason, by, until, place] = waiver;
  return std::tuple(rule, files, audio_digest, from_s, to_s, reason, by, until);
}

template <class T>
bool same(const std::vector<T>& a, const std::vector<T>& b) {
  return std::ranges::equal(a, b, [](const T& one, const T& other) { return meaning(one) == meaning(other); });
}

bool same(const Plan& a, const Plan& b) {
  const auto rest = [](const Plan& plan) {
    const auto& [path, title, artist, feeling, approach, mix, previous, sections, stems, above_band_lu, under_lead_lu, dynamics, low_end, most_masked_percent, quiet, references,
                 questions, severities, waivers] = plan;
    return std::tie(path, title, artist, feeling, approach, mix, previous, above_band_lu, under_lead_lu, dynamics, low_end, most_masked_percent, quiet, severities);
  };
  return rest(a) == rest(b) && same(a.sections, b.sections) && same(a.stems, b.stems) && same(a.references, b.references) && same(a.questions, b.questions) && same(a.waivers, b.waivers);
}

class Editor {
 public:
  explicit Editor(PlanChange change) : change_(std::move(change)) {}

  Result<void> operator()(const SetSections& wanted) { return set_sections(change_, wanted); }

  Result<void> operator()(const SetKey& wanted) {
    const auto mix = change_.plan.mix;
    if (const auto ok = in_text([&](base::TomlText& text) { return KeySetter(change_, wanted, text).set(); }); !ok || change_.plan.mix == mix) return ok;
    return in_text([](base::TomlText& text) -> Result<void> {
      age_notes_of_mix(text);
      return {};
    });
  }

  Result<void> operator()(const SetStems& wanted) {
    return in_text([&](base::TomlText& text) -> Result<void> {
      const Blocks by_name(text, "stem", "name");
      std::set<std::string_view> seen;
      for (const auto& change : wanted.stems) {
        if (!seen.insert(change.name).second) return wrong_edit(fmt::format("the stem {} is named twice", in_quotes(change.name)));
        if (const auto ok = change_stem(text, by_name, change); !ok) return ok;
      }
      return {};
    });
  }

  Result<void> operator()(const SetQuestion& wanted) {
    const auto found = question_called(change_.plan, wanted.id);
    if (!found) return tl::unexpected(found.error());
    return in_text([&](base::TomlText& text) -> Result<void> {
      const auto block = Blocks(text, "question", "id").of(wanted.id);
      if (!block) return tl::unexpected(block.error());
      return change_question(change_.plan, change_.plan.questions[*found], wanted.to,
                             [&](std::string_view key, const base::MakeLiteral& make) { text.put(*block, key, make); }, [&](std::string_view key) { text.drop(*block, key); });
    });
  }

  Result<void> operator()(const AddQuestion& wanted) {
    auto& questions = change_.plan.questions;
    Question question;
    question.id = wanted.id;
    for (int n = 1; question.id.empty() || (wanted.id.empty() && question_called(change_.plan, question.id)); ++n) question.id = fmt::format("question-{}", n);
    return in_text([&](base::TomlText& text) -> Result<void> {
      const std::string end(text.line_end());
      auto lines = "[[question]]" + end + "id = " + base::toml_text(question.id) + end;
      const auto put = [&](std::string_view key, const base::MakeLiteral& make) { lines += std::string(key) + " = " + make({std::nullopt, false, end}) + end; };
      if (const auto ok = change_question(change_.plan, question, wanted.question, put, [](std::string_view) {}); !ok) return ok;
      if (!questions.empty()) {
        const auto last = Blocks(text, "question", "id").of(questions.back().id);
        if (!last) return tl::unexpected(last.error());
        text.add_behind(*last, lines);
      } else {
        text.add_at_end(lines);
      }
      questions.push_back(std::move(question));
      return {};
    });
  }

  Result<void> operator()(const RemoveQuestion& wanted) {
    const auto found = question_called(change_.plan, wanted.id);
    if (!found) return tl::unexpected(found.error());
    return in_text([&](base::TomlText& text) -> Result<void> {
      const auto block = Blocks(text, "question", "id").of(wanted.id);
      if (!block) return tl::unexpected(block.error());
      text.remove(*block);
      change_.plan.questions.erase(change_.plan.questions.begin() + static_cast<std::ptrdiff_t>(*found));
      return {};
    });
  }

  /// The text, where it is read as it is meant.
  Result<std::string> finish() {
    const auto after = parse_plan(change_.text, {});
    if (!after) return fail(ErrorCode::rules, after.error().text);
    if (!same(*after, change_.plan)) return cannot_be_changed();
    return std::move(change_.text);
  }

 private:
  Result<void> change_stem(base::TomlText& text, const Blocks& by_name, const StemChange& wanted) {
    const auto found = named(change_.plan.stems, "stem", wanted.name);
    if (!found) return tl::unexpected(found.error());
    if (!*found) return wrong_edit("a stem is chosen by its name");
    const auto block = by_name.of(wanted.name);
    if (!block) return tl::unexpected(block.error());
    auto& stem = change_.plan.stems[**found];
    if (wanted.role && *wanted.role != stem.role) {
      stem.role = *wanted.role;
      text.put(*block, "role", text_literal(std::string(to_string(stem.role))));
    }
    if (wanted.priority && *wanted.priority != stem.priority) {
      stem.priority = *wanted.priority;
      if (stem.priority) text.put(*block, "priority", base::plain_literal(std::to_string(*stem.priority)));
      if (!stem.priority) text.drop(*block, "priority");
    }
    return {};
  }

  template <class Do>
  Result<void> in_text(const Do& what) {
    auto text = text_of_plan(change_.text);
    if (!text) return tl::unexpected(text.error());
    if (const auto ok = what(*text); !ok) return ok;
    change_.text = text->changed();
    return {};
  }

  PlanChange change_;
};

}  // namespace

Blocks::Blocks(const base::TomlText& text, std::string_view array, std::string_view key) : array_(array) {
  for (const auto block : text.blocks(array)) {
    const auto literal = text.literal(block, key);
    if (auto name = literal ? base::toml_string(*literal) : std::nullopt) blocks_.emplace(std::move(*name), block);
  }
}

tl::unexpected<Error> cannot_be_changed() {
  return fail(ErrorCode::rules, "the plan is written in a way that cannot be changed here; change it in a text editor");
}

Result<base::TomlText> text_of_plan(std::string text) {
  auto read = base::TomlText::of(std::move(text));
  if (!read) return cannot_be_changed();
  return std::move(*read);
}

Result<std::size_t> Blocks::of(std::string_view name) const {
  if (const auto found = blocks_.find(name); found != blocks_.end()) return found->second;
  return fail(ErrorCode::rules, fmt::format("{} {} is not written as a table [[{}]] of its own; change it in a text editor", array_, in_quotes(name), array_));
}

base::MakeLiteral text_literal(std::string text) {
  return [text = std::move(text)](const base::LiteralPlace& place) {
    if (place.one_line || text.find('\n') == std::string::npos) return base::toml_text(text);
    const std::string end(place.line_end);
    auto literal = "\"\"\"" + end;
    for (std::size_t begin = 0; begin <= text.size();) {
      const auto next = std::min(text.find('\n', begin), text.size());
      const auto line = base::toml_text(std::string_view(text).substr(begin, next - begin));
      literal += line.substr(1, line.size() - 2) + (next < text.size() ? end : std::string());
      begin = next + 1;
    }
    return literal + "\"\"\"";
  };
}

base::MakeLiteral range_literal(const std::optional<Range>& range) {
  return [range](const base::LiteralPlace& place) { return range_in_place_of(place.old, range); };
}

Result<std::string> edit_plan(std::string_view toml, std::span<const PlanEdit> edits) {
  auto plan = parse_plan(toml, {});
  if (!plan) return tl::unexpected(plan.error());
  Editor editor({std::move(*plan), std::string(toml)});
  for (const auto& edit : edits) {
    if (const auto ok = std::visit(editor, edit); !ok) return tl::unexpected(ok.error());
  }
  return editor.finish();
}

}  // namespace sendworthy::song

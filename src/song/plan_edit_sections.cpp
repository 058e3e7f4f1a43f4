// The list of sections anew: which block of the text is which section, and what else names it.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <set>
#include <tuple>
#include <utility>

#include "base/text.h"
#include "judge/draft.h"
#include "song/plan_change.h"
#include "song/plan_notes.h"

namespace sendworthy::song {
namespace {

using judge::in_quotes;

constexpr double kSameS = 0.05;  // half a step in which loudness is counted
constexpr std::int64_t kLongestMs = 86400000;

/// A time is written as the one before it was.
struct TimeForm {
  bool text = true;
  int colons = 1;
  std::size_t decimals = 0;  ///< at least
};

TimeForm form_of(std::string_view literal) {
  const auto text = base::toml_string(literal);
  if (!text) return {false, 0, 0};
  const auto point = text->find('.');
  return {true, static_cast<int>(std::ranges::count(*text, ':')), point == std::string::npos ? 0 : std::min<std::size_t>(3, text->size() - point - 1)};
}

std::string time_literal(std::int64_t ms, const TimeForm& form) {
  const auto seconds = base::shortest(static_cast<double>(ms) / 1000);
  if (!form.text) return seconds;
  if (form.colons == 0) return base::toml_text(seconds);
  auto clock = base::clock_time(static_cast<double>(ms) / 1000);
  while (clock.ends_with('0') && clock.size() - clock.find('.') - 1 > form.decimals) clock.pop_back();
  if (clock.ends_with('.')) clock.pop_back();
  if (form.colons == 2 && std::ranges::count(clock, ':') == 1) clock = (clock.find(':') == 1 ? "0:0" : "0:") + clock;
  return base::toml_text(clock);
}

double seconds_of(const std::string& literal, std::int64_t ms) {
  const auto text = base::toml_string(literal);
  return text ? seconds_in(*text).value_or(-1) : static_cast<double>(ms) / 1000;
}

std::int64_t ms_of(double seconds) { return std::llround(seconds * 1000); }
bool is_time(double seconds) { return seconds >= 0 && seconds < 86400 && ms_of(seconds) < kLongestMs; }

class SectionSetter {
 public:
  SectionSetter(const PlanChange& change, const SetSections& wanted) : old_(change.plan), after_(change), wanted_(wanted) {}

  Result<PlanChange> set() {
    if (const auto ok = pair_up(); !ok) return tl::unexpected(ok.error());
    if (const auto ok = let_go(); !ok) return tl::unexpected(ok.error());
    auto text = text_of_plan(after_.text);
    if (!text) return tl::unexpected(text.error());
    text_ = &*text;
    const auto in_text = text_->blocks("section");
    if (!in_text.empty()) form_ = form_of(text_->literal(in_text.front(), "start").value_or("\"\""));
    const Blocks by_name(*text_, "section", "name");
    for (const auto& section : old_.sections) {
      const auto block = by_name.of(section.name);
      if (!block) return tl::unexpected(block.error());
      blocks_.push_back(*block);
    }
    new_lines_.resize(wanted_.sections.size());
    for (std::size_t i = 0; i < wanted_.sections.size(); ++i) write(i);
    order_.resize(sections_.size());
    std::iota(order_.begin(), order_.end(), 0);
    std::ranges::stable_sort(order_, {}, [&](std::size_t i) { return sections_[i].start_s; });
    const auto replaced = add_new_ones();
    for (std::size_t i = 0; i < old_.sections.size(); ++i) {
      if (!new_index_[i] && blocks_[i] != replaced) text_->remove(blocks_[i]);
    }
    if (const auto ok = rename(); !ok) return tl::unexpected(ok.error());
    settle();
    age_notes();
    after_.text = text_->changed();
    if (const auto ok = put_vocals(); !ok) return tl::unexpected(ok.error());
    return std::move(after_);
  }

 private:
  /// Which old section is which new one, and whether the times are any.
  Result<void> pair_up() {
    new_index_.resize(old_.sections.size());
    std::set<std::string_view> names;
    for (std::size_t i = 0; i < wanted_.sections.size(); ++i) {
      const auto& one = wanted_.sections[i];
      if (!is_time(one.start_s) || (one.end_s && !is_time(*one.end_s)))
        return fail(ErrorCode::usage, fmt::format("start and end of {} want to lie from 0 and below 24 hours", in_quotes(one.name)));
      if (!names.insert(one.name).second) return fail(ErrorCode::usage, fmt::format("two sections are called {}: number them", in_quotes(one.name)));
      if (!one.was) continue;
      if (*one.was >= old_.sections.size() || new_index_[*one.was])
        return fail(ErrorCode::usage, fmt::format("{} wants to be a section that the plan has not, or that is taken already; load the plan again", in_quotes(one.name)));
      new_index_[*one.was] = i;
    }
    return {};
  }

  /// What is asked of a section that goes is for a person to decide; its range in [vocal] is its own.
  Result<void> let_go() {
    for (const auto& question : old_.questions) {
      if (question.section && !new_index_[*question.section])
        return fail(ErrorCode::usage, fmt::format("{} cannot go: the question {} asks of it; give that another section first, or remove it",
                                                  in_quotes(old_.sections[*question.section].name), in_quotes(question.id)));
    }
    for (std::size_t i = 0; i < old_.sections.size(); ++i) {
      if (new_index_[i]) continue;
      auto text = text_of_plan(after_.text);
      if (!text) return tl::unexpected(text.error());
      text->drop_member("vocal", "sections", old_.sections[i].name);
      after_.text = text->changed();
    }
    return {};
  }

  /// Of a section that stays, in its block; its meaning in any case.
  void write(std::size_t i) {
    const auto& wanted = wanted_.sections[i];
    auto section = wanted.was ? old_.sections[*wanted.was] : Section();
    const auto block = wanted.was ? std::optional(blocks_[*wanted.was]) : std::nullopt;
    const auto put = [&](std::string_view key, const base::MakeLiteral& make) {
      if (block) {
        text_->put(*block, key, make);
      } else {
        new_lines_[i] += std::string(key) + " = " + make({std::nullopt, false, text_->line_end()}) + std::string(text_->line_end());
      }
    };
    if (!wanted.was || wanted.name != section.name) put("name", text_literal(wanted.name));
    section.name = wanted.name;
    const auto form = block ? form_of(text_->literal(*block, "start").value_or("\"\"")) : form_;
    const auto time = [&](std::string_view key, double to, const std::optional<double>& from) {
      if (from && ms_of(*from) == ms_of(to)) return *from;
      const auto old = block ? text_->literal(*block, key) : std::nullopt;
      const auto literal = time_literal(ms_of(to), old ? form_of(*old) : form);
      put(key, base::plain_literal(literal));
      return seconds_of(literal, ms_of(to));
    };
    section.start_s = time("start", wanted.start_s, wanted.was ? std::optional(section.start_s) : std::nullopt);
    const auto had_end = section.own_end ? section.end_s : std::nullopt;
    section.own_end = wanted.end_s.has_value();
    section.end_s = wanted.end_s ? std::optional(time("end", *wanted.end_s, had_end)) : std::nullopt;
    if (had_end && !wanted.end_s) text_->drop(*block, "end");
    for (const auto& [key, to, flag] : {std::tuple{"biggest", wanted.biggest, &section.biggest}, {"quietest", wanted.quietest, &section.quietest}}) {
      if (to == *flag) continue;
      *flag = to;
      if (to) put(key, base::plain_literal("true"));
      if (!to) text_->drop(*block, key);
    }
    if (wanted.vocal_lu) section.vocal_lu = *wanted.vocal_lu;
    sections_.push_back(std::move(section));
  }

  /// Each behind the one that is before it in time. The old block whose place they took, where none stays.
  std::optional<std::size_t> add_new_ones() {
    std::optional<std::size_t> before;
    std::string first;
    const std::string end(text_->line_end());
    for (const auto i : order_) {
      const auto& wanted = wanted_.sections[i];
      if (wanted.was) {
        const auto block = blocks_[*wanted.was];
        if (!before && !first.empty()) text_->add_before(block, std::exchange(first, {}));
        before = block;
        continue;
      }
      const auto lines = "[[section]]" + end + new_lines_[i];
      if (before) {
        text_->add_behind(*before, lines);
      } else {
        first += (first.empty() ? std::string() : end) + lines;
      }
    }
    if (first.empty()) return std::nullopt;
    if (blocks_.empty()) {
      text_->add_at_end(first);
      return std::nullopt;
    }
    const auto place = *std::ranges::min_element(blocks_);
    text_->put_in_place_of(place, first);
    return place;
  }

  Result<void> rename() {
    const Blocks by_id(*text_, "question", "id");
    for (std::size_t i = 0; i < old_.sections.size(); ++i) {
      if (!new_index_[i]) continue;
      const auto &from = old_.sections[i].name, &to = wanted_.sections[*new_index_[i]].name;
      if (from == to) continue;
      text_->rename_member("vocal", "sections", from, to);
      for (const auto& question : old_.questions) {
        if (question.section != i) continue;
        const auto block = by_id.of(question.id);
        if (!block) return tl::unexpected(block.error());
        text_->put(*block, "section", text_literal(to));
      }
    }
    return {};
  }

  /// As parse_plan does it.
  void settle() {
    auto& plan = after_.plan;
    plan.sections.clear();
    std::vector<std::size_t> place_of(order_.size());
    for (const auto i : order_) {
      place_of[i] = plan.sections.size();
      plan.sections.push_back(sections_[i]);
    }
    for (std::size_t i = 0; i + 1 < plan.sections.size(); ++i) {
      if (!plan.sections[i].end_s) plan.sections[i].end_s = plan.sections[i + 1].start_s;
    }
    for (auto& question : plan.questions) {
      if (question.section) question.section = place_of[*new_index_[*question.section]];
    }
  }

  [[nodiscard]] const Section& now(std::size_t old) const {
    return *std::ranges::find(after_.plan.sections, wanted_.sections[*new_index_[old]].name, &Section::name);
  }

  /// What stands in comments of sections that are others by now. Within half a step of loudness they are the same.
  void age_notes() {
    bool other = wanted_.sections.size() != old_.sections.size(), moved = std::ranges::any_of(wanted_.sections, [](const auto& one) { return !one.was; });
    for (std::size_t i = 0; i < old_.sections.size(); ++i) {
      if (!new_index_[i] || is_same(old_.sections[i], now(i))) continue;
      moved = true;
      for (const auto& comment : text_->comments(blocks_[i])) {
        if (comment.key == "start" && is_loudness(comment.text)) text_->put_comment(comment, {});
      }
    }
    // Any of them may be louder than the loudest was.
    for (std::size_t i = 0; moved && i < old_.sections.size(); ++i) {
      for (const auto& comment : text_->comments(blocks_[i])) {
        if (new_index_[i] && comment.key.empty() && (is_guess_of(comment.text, "biggest") || is_guess_of(comment.text, "quietest"))) text_->put_comment(comment, {});
      }
    }
    if (!moved && !other && std::ranges::all_of(new_index_, [](const auto& one) { return one.has_value(); })) return;
    for (const auto* table : {"vocal", "backing", "dynamics"}) {
      for (const auto block : text_->tables(table)) {
        for (const auto& comment : text_->comments(block)) {
          if (const auto words = measured_before(comment.text); words != comment.text) text_->put_comment(comment, words);
        }
      }
    }
  }

  static bool is_same(const Section& was, const Section& is) {
    return std::abs(was.start_s - is.start_s) <= kSameS && was.end_s.has_value() == is.end_s.has_value() && std::abs(was.end_s.value_or(0) - is.end_s.value_or(0)) <= kSameS;
  }

  /// One by one: an inline table takes one change at a time.
  Result<void> put_vocals() {
    for (const auto& wanted : wanted_.sections) {
      if (!wanted.vocal_lu) continue;
      const auto& range = *wanted.vocal_lu;
      if (wanted.was ? old_.sections[*wanted.was].vocal_lu == range : !range) continue;
      auto text = text_of_plan(after_.text);
      if (!text) return tl::unexpected(text.error());
      if (range) text->put_member("vocal", "sections", wanted.name, range_literal(range));
      if (!range) text->drop_member("vocal", "sections", wanted.name);
      after_.text = text->changed();
    }
    return {};
  }

  const Plan& old_;
  PlanChange after_;
  const SetSections& wanted_;
  base::TomlText* text_ = nullptr;
  TimeForm form_;
  std::vector<std::size_t> blocks_;                       ///< of the old sections
  std::vector<std::optional<std::size_t>> new_index_;     ///< of the old sections
  std::vector<std::size_t> order_;                        ///< of the new sections, by time
  std::vector<Section> sections_;                         ///< the new ones as wanted
  std::vector<std::string> new_lines_;
};

}  // namespace

Result<void> set_sections(PlanChange& change, const SetSections& wanted) {
  auto after = SectionSetter(change, wanted).set();
  if (!after) return tl::unexpected(after.error());
  change = std::move(*after);
  return {};
}

}  // namespace sendworthy::song

// Within edit_plan: what a plan means and what its text says are changed side by side.
#pragma once

#include <cstddef>
#include <functional>
#include <map>
#include <string>
#include <string_view>

#include "song/plan_edit.h"
#include "base/toml_text.h"

namespace sendworthy::song {

/// Both stay as they are on an error.
struct PlanChange {
  Plan plan;         ///< as it is to be read afterwards, but for places
  std::string text;
};

/// Error: rules, for a plan whose parts cannot be told apart.
[[nodiscard]] Result<base::TomlText> text_of_plan(std::string text);

/// What cannot be changed here.
[[nodiscard]] tl::unexpected<Error> cannot_be_changed();

[[nodiscard]] Result<void> set_sections(PlanChange& change, const SetSections& wanted);

/// The tables [[array]] by the text that is their `key`.
class Blocks {
 public:
  Blocks(const base::TomlText& text, std::string_view array, std::string_view key);
  /// Error: rules, where the plan has it written in another way.
  [[nodiscard]] Result<std::size_t> of(std::string_view name) const;

 private:
  std::string array_;
  std::map<std::string, std::size_t, std::less<>> blocks_;
};

[[nodiscard]] base::MakeLiteral text_literal(std::string text);
/// In place of one that may have comments between its numbers.
[[nodiscard]] base::MakeLiteral range_literal(const std::optional<Range>& range);

}  // namespace sendworthy::song

// How places are listened to: the ways there are, and which of them a question needs.
#pragma once

#include <span>
#include <string_view>

#include "desk/json.h"

namespace sendworthy::desk {

struct WayToHear {
  std::string_view name;
  std::string_view words;  ///< of the menu, and after "heard: "
};
/// "as-it-is" first.
[[nodiscard]] std::span<const WayToHear> ways_to_hear();

/// What is not heard as it is.
struct HeardBy {
  std::string_view id;
  std::string_view way;
};
/// Ids of measurements of the catalog.
[[nodiscard]] std::span<const HeardBy> heard_measurements();
/// Ids of findings about a song and its plan, or about an order, as they stand on a sheet as `rule`.
[[nodiscard]] std::span<const HeardBy> heard_findings();
/// What a plan's question has as `heard`.
[[nodiscard]] std::span<const HeardBy> heard_questions();
/// Measurements whose places are heard in the channel that they name, where that is the left or the right one.
[[nodiscard]] std::span<const std::string_view> heard_by_channel();

inline constexpr double kHeardBeforeS = 1.5, kHeardAfterS = 1;  ///< a little before and after a place
inline constexpr double kQuietDb = 20;                          ///< by which "quiet" turns down

/// Puts all of it into what the page is told at first: "ways", "heard", "asked", "by_channel", "before_s", "after_s", "quiet_db".
void put_hearing(Json& state);

}  // namespace sendworthy::desk

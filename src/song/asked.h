// Which findings and places belong to a question, and what became of their numbers from one bounce to the next.
#pragma once

#include <sendworthy/listening.h>

#include <string>
#include <vector>

#include "song/passes.h"
#include "song/plan.h"

namespace sendworthy::song {

/// Ids, in the order of the checklist. A question of one's own gets those that fit its section, its stem and how it is heard.
[[nodiscard]] std::vector<std::string> findings_of(const Plan& plan, const Question& question);

/// How to listen, in one or two sentences.
[[nodiscard]] std::string how_to_hear(const Plan& plan, Heard heard);

/// The question's section, or those that it is about by its nature; then the worst passages of its findings on `measured` (may be null).
[[nodiscard]] std::vector<ListeningPlace> places_of(const Plan& plan, const Question& question, const Sheet* measured);

/// What a sheet of check_plan says, for the next bounce to be held against.
[[nodiscard]] Snapshot snapshot_of(const Sheet& measured);

/// What moved in these findings, in words: another status, or a number that differs by 0.1 LU or dB, 1 % or 1 Hz
/// at least. What only one of the two bounces has is not held against anything. At most six.
[[nodiscard]] std::vector<std::string> moved_in(const std::vector<std::string>& findings, const Snapshot& before, const Snapshot& now);
/// What moved for a question: first of its section, whatever its findings, unless it is about one stem; then in its findings. At most six.
[[nodiscard]] std::vector<std::string> moved_for(const Plan& plan, const Question& question, const Snapshot& before, const Snapshot& now);

/// What moved in a section, whatever is asked of it; and, for the whole song, statuses and numbers that stand on no section. At most six each.
[[nodiscard]] std::vector<std::string> moved_in_section(const std::string& section, const Snapshot& before, const Snapshot& now);
[[nodiscard]] std::vector<std::string> moved_in_song(const Plan& plan, const Snapshot& before, const Snapshot& now);

/// The numbers of a question's section, and, where it is heard very quietly or from something small, what moves then, in words.
[[nodiscard]] std::vector<std::string> numbers_for(const Plan& plan, const Question& question, const Sheet& measured);

/// Findings to which none of the plan's questions belongs: those outside of the plan, those first that moved (`before` may be null);
/// those that moved; and in one line those that were not measured. At most nine lines.
[[nodiscard]] std::vector<std::string> unasked_of(const Plan& plan, const Sheet& measured, const Snapshot* before, const Snapshot& now);

}  // namespace sendworthy::song

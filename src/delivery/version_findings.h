// Versions held against their main mix, by their sound.
#pragma once

#include <sendworthy/check.h>

#include <deque>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "delivery/members.h"
#include "pair/align.h"

namespace sendworthy::delivery {

/// A version and what it is held against.
struct HeldAgainst {
  const Member* version = nullptr;
  const Member* reference = nullptr;
  std::optional<Pair> pair;
  std::optional<pair::Alignment> alignment;  ///< of the version to its reference; none where they are one sound, or share nothing
  std::optional<Error> error;
};

struct VersionFindings {
  std::vector<Finding> findings;
  std::vector<Pair> pairs;
  std::map<std::string, std::string> libraries;
};

/// Alignment, polarity, level, identity, clean edits, earlier deliveries, leaks, sums. Runs on CheckOptions::jobs threads; the
/// result does not depend on them.
[[nodiscard]] VersionFindings version_findings(const Members& members, const CheckOptions& options, const CheckHooks& hooks);

/// Work that is done side by side, in any order: each fills its own place.
struct Task {
  std::string path;  ///< for the progress line
  std::function<void(const pair::Hooks& hooks)> run;
};

/// What leaks from where: vocal in instrumentals, band in a cappellas, lead in TV mixes; and level and polarity of versions.
/// Appends tasks that fill new members of `findings`.
void add_leak_tasks(const Members& members, const std::vector<HeldAgainst>& held, std::vector<Task>& tasks, std::deque<std::vector<Finding>>& findings);

/// Stems against the mix, and instrumental and a cappella against the main mix.
void add_sum_tasks(const Members& members, const std::vector<HeldAgainst>& held, std::vector<Task>& tasks, std::deque<std::vector<Finding>>& findings);

}  // namespace sendworthy::delivery

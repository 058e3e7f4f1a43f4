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
#include "pair/leak.h"
#include "pair/place.h"

namespace sendworthy::delivery {

/// A version and what it is held against.
struct HeldAgainst {
  const Member* version = nullptr;
  const Member* reference = nullptr;  ///< none where there is no one file of it
  std::optional<Pair> pair;
  std::optional<pair::Alignment> alignment;  ///< of the version to its reference; none where they are one sound, or share nothing
  std::optional<pair::ChannelLags> channels;  ///< where each of two stands, where that is known
  std::optional<Error> error;
};

/// The paths of both, the version's first.
[[nodiscard]] std::vector<std::string> files_of(const HeldAgainst& one);


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
  bool long_one = false;  ///< begun first, so that nobody waits for it at the end
};

/// One sound that was looked for in one version.
struct LeakSeen {
  std::string_view rule;
  const Member *suspect = nullptr, *source = nullptr;  ///< no source: what another file has more
  std::string source_path, words;
  pair::Leak leak;
  bool in_line = true;  ///< where one stands against the other is known
  bool difference = false;  ///< what is looked for is what another mix has more
  std::string spoiled;  ///< what must be mended first, where the two cannot be held against each other as they are
  bool failed = false;  ///< said already
  std::vector<Finding>* into = nullptr;
};

/// Of two files that were each looked for in the other: what one holds of the other is in the sound that is looked for, so that it
/// comes back from there as a leak of its own. Why that makes `seen` unknown, where it does; else nothing.
[[nodiscard]] std::string explained_by(const LeakSeen& seen, const LeakSeen& other);

/// What leaks from where: vocal in instrumentals, band in a cappellas, lead in TV mixes; and level and polarity of versions.
class Leaks {
 public:
  Leaks(const Members& members, const std::vector<HeldAgainst>& held) : members_(members), held_(held) {}
  /// The tasks keep places in this object.
  void add_tasks(std::vector<Task>& tasks);
  /// Once all tasks have run: what is found in one file is weighed against what is found in the other. To be called once.
  [[nodiscard]] std::deque<std::vector<Finding>> findings();

 private:
  const Members& members_;
  const std::vector<HeldAgainst>& held_;
  void add_backing_tasks(const HeldAgainst& one, std::vector<Task>& tasks);
  /// Where instrumental and a cappella seem to be each other: says so, and that nothing that was heard in either means a thing.
  void tell_exchanged();

  std::deque<std::vector<Finding>> findings_;
  std::deque<LeakSeen> seen_;
  struct Shared {
    const Member* version = nullptr;
    bool swapped = false;
  };
  std::deque<Shared> shared_;  ///< each filled by its own task
};

/// What a sum of files came to: the mix's path first.
struct SumSeen {
  std::string_view rule;
  std::vector<std::string> files;
  std::vector<Finding> findings;
  bool as_they_are = false;  ///< nothing is left, without any gain: all stand together and at one level
};

/// Stems against the mix, and instrumental and a cappella against the main mix. The tasks keep places in `seen`.
void add_sum_tasks(const Members& members, const std::vector<HeldAgainst>& held, std::vector<Task>& tasks, std::deque<SumSeen>& seen);

}  // namespace sendworthy::delivery

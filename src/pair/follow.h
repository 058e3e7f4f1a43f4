// Window by window along one file: where its sound stands in another, through what was cut out, put in or replaced.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <functional>
#include <optional>
#include <vector>

#include "pair/windows.h"

namespace sendworthy::pair {

/// What is known of both files before they are followed; frames of the old file's clock.
struct FollowInput {
  double rate = 0;   ///< Hz
  double speed = 1;  ///< seconds of the new file that one second of the old one takes
  std::int64_t old_frames = 0, new_frames = 0;
  double sounds_end = 0;  ///< lag at which both sound to the same end
  const std::vector<float>& old_onsets;  ///< at the new file's speed
  const std::vector<float>& new_onsets;
  double lag = 0;   ///< to begin with
  double same = 0;  ///< correlation from which a window fits, 0 … 1
  std::function<void(double fraction)> progress;
  const std::atomic<bool>* stop = nullptr;
};

class Follower {
 public:
  using Group = std::vector<WindowPoint>;

  /// All must outlive this object.
  Follower(Windows& windows, const FollowInput& input);

  /// In windows of a third of a second; ends early when stopped.
  void follow();
  /// Where parts repeat, one edit may have been followed as several: what one can do, one did.
  void simplify();
  /// What follows one lag is one group, whatever lies between that does not fit. Up to `step` frames are the same lag; more, where
  /// it stays there for a few windows, since one alone may be a bass note that does not tell.
  void group(double step);
  [[nodiscard]] const std::vector<Group>& groups() const { return groups_; }

 private:
  /// In how many windows in a row, from `at` on, the lag fits, or does not (`fitting` false); up to kPassage, or as many as there are.
  struct Run {
    std::int64_t windows = 0;
    bool to_the_end = false;
  };
  Run run_of(std::int64_t at, double lag, bool fitting);
  bool holds_on(std::int64_t at, double lag);
  std::optional<WindowFit> plainer_here(std::int64_t at);
  int fitting_soon(std::int64_t at, double lag);
  bool plainer_soon(std::int64_t at, double lag);
  /// The windows beyond `from`, forwards or backwards and before `until`, that fit at its lag as well as `least` asks; silence fits any.
  struct Reach {
    std::vector<WindowPoint> points;
    std::int64_t last = 0;  ///< where the last window stands that fits
  };
  Reach reach_out(const WindowPoint& from, std::int64_t until, double least);
  bool merge_between(std::size_t i, std::size_t k);
  WindowFit search_wide(std::int64_t at);
  WindowFit search_within(std::int64_t at, double reach_s);

  [[nodiscard]] bool stopped() const { return input_.stop != nullptr && input_.stop->load(std::memory_order_relaxed); }
  /// The lags that say more than others that fit as well: both begin together, end together, or sound to the same end.
  [[nodiscard]] std::array<double, 3> plain_lags() const { return {0.0, static_cast<double>(input_.new_frames - input_.old_frames), input_.sounds_end}; }

  Windows& windows_;
  FollowInput input_;
  std::int64_t window_;
  double lag_, same_;
  std::vector<double> nearby_;  ///< lags at which onsets of the next seconds are alike, to 10 ms
  std::vector<WindowPoint> points_;
  std::vector<Group> groups_;
};

/// Upper median; of none it may not be asked.
[[nodiscard]] double middle_of(std::vector<double> values);

}  // namespace sendworthy::pair

// How long the page has played something in this run of the program, and what that would add to an ear's exposure.
#pragma once

#include <sendworthy/check.h>
#include <sendworthy/sheet.h>

#include <functional>
#include <mutex>
#include <optional>
#include <vector>

#include "desk/json.h"
#include "safety/exposure.h"

namespace sendworthy::desk {

/// Safe to use from several threads.
class PlayedTime {
 public:
  /// `running_s`: seconds since the program began.
  PlayedTime(std::optional<Monitoring> monitoring, std::function<double()> running_s) : monitoring_(std::move(monitoring)), running_s_(std::move(running_s)) {}

  /// As safety::add_played(); of what a page claims no more counts than time has passed since the program began.
  void add(double seconds, std::optional<double> a_power, double gain_db, int channels);
  /// {"seconds","exposure": null or {"low_percent","high_percent","text","source"},"time": for how long, "rest": what is known besides,
  /// "text": both}.
  [[nodiscard]] Json tell() const;
  /// [{"text","source"},…]: what stands beside the button.
  [[nodiscard]] Json cautions() const;

 private:
  const std::optional<Monitoring> monitoring_;
  const std::function<double()> running_s_;
  mutable std::mutex mutex_;
  safety::Played played_;
};

}  // namespace sendworthy::desk

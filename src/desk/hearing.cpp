#include "desk/hearing.h"

#include <array>

namespace sendworthy::desk {
namespace {

constexpr std::string_view kQuiet = "quiet", kMono = "mono", kBelow100 = "below-100", kBelow120 = "below-120", kSmall = "small-speaker", kSide = "side";

constexpr std::array<WayToHear, 9> kWays{{{"as-it-is", "as it is"},
                                          {kQuiet, "quiet"},
                                          {kMono, "in mono"},
                                          {kBelow100, "below 100 Hz"},
                                          {kBelow120, "below 120 Hz"},
                                          {kSmall, "through a small speaker"},
                                          {"left", "left alone"},
                                          {"right", "right alone"},
                                          {kSide, "side alone"}}};

// Quiet is what may come out far too loud; never noise, which would then be heard no more.
constexpr std::array<HeardBy, 17> kMeasurements{{{"phase_correlation", kMono},
                                                 {"min_phase_correlation", kMono},
                                                 {"mono_fold_loss", kMono},
                                                 {"mono_fold_loss_low", kMono},
                                                 {"inter_channel_delay", kMono},
                                                 {"inverted_channel", kMono},
                                                 {"side_to_mid", kSide},
                                                 {"dual_mono", kSide},
                                                 {"low_phase_correlation", kBelow120},
                                                 {"side_level_low", kBelow120},
                                                 {"mains_hum", kBelow120},
                                                 {"lfe_bandwidth", kBelow120},
                                                 {"subsonic_level", kBelow100},
                                                 {"lineup_tone", kQuiet},
                                                 {"implausible_scale", kQuiet},
                                                 {"byte_order_suspect", kQuiet},
                                                 {"over_full_scale_samples", kQuiet}}};

// 100 Hz is where a plan's low end begins unless it says otherwise.
constexpr std::array<HeardBy, 5> kFindings{{{"kick-over-bass", kBelow100},
                                            {"low-end-order", kBelow100},
                                            {"bass-steadiness", kBelow100},
                                            {"mono-low-end", kMono},
                                            {"quiet-listening", kQuiet}}};

constexpr std::array<HeardBy, 4> kQuestions{{{"quiet", kQuiet}, {"mono", kMono}, {"lows", kBelow100}, {"small speaker", kSmall}}};

constexpr std::array<std::string_view, 2> kByChannel{"channel_dropouts", "silent_channels"};

}  // namespace

std::span<const WayToHear> ways_to_hear() { return kWays; }
std::span<const HeardBy> heard_measurements() { return kMeasurements; }
std::span<const HeardBy> heard_findings() { return kFindings; }
std::span<const HeardBy> heard_questions() { return kQuestions; }
std::span<const std::string_view> heard_by_channel() { return kByChannel; }

void put_hearing(Json& state) {
  state["ways"] = Json::array();
  for (const auto& way : kWays) state["ways"].push_back({{"name", way.name}, {"words", way.words}});
  state["heard"] = Json::object();
  for (const auto& one : kMeasurements) state["heard"][std::string(one.id)] = one.way;
  for (const auto& one : kFindings) state["heard"][std::string(one.id)] = one.way;
  state["asked"] = Json::object();
  for (const auto& one : kQuestions) state["asked"][std::string(one.id)] = one.way;
  state["by_channel"] = kByChannel;
  state["before_s"] = kHeardBeforeS;
  state["after_s"] = kHeardAfterS;
  state["quiet_db"] = kQuietDb;
}

}  // namespace sendworthy::desk

// The words of the cautions. Few and short: they close a sheet that is read in ten seconds.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "safety/exposure.h"

namespace sendworthy::safety {
namespace {

constexpr const char* kWeeklySource = "ITU-T H.870 (2022)";
constexpr const char* kDailySource = "NIOSH 98-126 (1998)";
constexpr double kHoursInAWeek = 168;

const Measurement* find(const FileSheet& file, std::string_view key) {
  for (const auto& measurement : file.measurements) {
    if (measurement.key == key) return &measurement;
  }
  return nullptr;
}

std::optional<double> number_of(const FileSheet& file, std::string_view key) {
  const auto* measurement = find(file, key);
  const auto value = measurement ? number(measurement->outcome) : std::nullopt;
  return value && std::isfinite(*value) ? value : std::nullopt;
}

// A measurement that found something: true, a count above zero, a word other than "none" or "no".
bool flagged(const FileSheet& file, std::string_view key) {
  const auto* measurement = find(file, key);
  const auto* value = measurement ? std::get_if<Value>(&measurement->outcome) : nullptr;
  if (!value) return false;
  if (const auto* yes = std::get_if<bool>(value)) return *yes;
  if (const auto* count = std::get_if<double>(value)) return *count > 0;
  const auto& word = std::get<std::string>(*value);
  return !word.empty() && word != "none" && word != "no";
}

std::string without_trailing_zero(std::string text) {
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text;
}

std::string duration_text(double hours) {
  const double minutes = hours * 60;
  if (hours >= 100) return fmt::format("{:.0f} h", hours);
  if (hours >= 1) return without_trailing_zero(fmt::format("{:.1f}", hours)) + " h";
  if (minutes >= 1) return without_trailing_zero(fmt::format("{:.1f}", minutes)) + " min";
  if (minutes * 60 >= 1) return fmt::format("{:.0f} s", minutes * 60);
  return "less than a second";
}

// How often a file fits into `hours`; whole passes, rounded down.
std::string passes_text(double hours, double file_s) {
  const double passes = std::floor(hours * 3600 / file_s * (1 + 1e-12));
  if (passes < 1) return "less than one pass";
  if (passes == 1) return "1 pass";
  if (passes > 10000) return "over 10000 passes";
  return fmt::format("{:.0f} passes", passes);
}

std::string level_text(double level_dba) {
  // Adding 0.0 turns a rounded −0.0 into 0.0.
  return fmt::format("{:.1f} dB(A)", std::round(level_dba * 10) / 10 + 0.0);
}

double rounded_to_tenth(double value) { return std::round(value * 10) / 10; }

std::string allowance_text(double level_dba, Listener listener, double file_s) {
  const double hours = weekly_hours(level_dba, listener);
  if (hours >= kHoursInAWeek) return "more than a week";
  if (!(file_s > 0)) return duration_text(hours);
  return fmt::format("{} ({})", duration_text(hours), passes_text(hours, file_s));
}

std::string daily_text(double level_dba) {
  const double hours = niosh_minutes(level_dba) / 60;
  return hours >= 24 ? "more than a day" : duration_text(hours);
}

// Shares of an allowance, in per cent.
std::string share_text(double from, double to) {
  const auto percent = [](double share) { return fmt::format("{:.1f}", 100 * share); };
  if (to < 0.0005) return "less than 0.1 %";
  if (percent(from) == percent(to)) return "about " + percent(to) + " %";
  return (from < 0.0005 ? "less than 0.1" : percent(from)) + " to " + percent(to) + " %";
}

// A sine has a crest factor of 3.01 dB, a square wave 0 dB; mastered music stays above 5 dB. Together with a loudness
// that does not move it is a test tone. A heuristic: it can only make a sheet say "turn down first" once too often.
bool looks_like_a_tone(const FileSheet& file) {
  constexpr double kHighestCrestDb = 3.5;
  constexpr double kSteadyLu = 0.5;
  constexpr double kQuietLufs = -45;
  const auto crest_db = number_of(file, "crest_factor");
  const auto integrated_lufs = number_of(file, "integrated_loudness");
  const auto momentary_lufs = number_of(file, "max_momentary_loudness");
  if (!crest_db || !integrated_lufs || !momentary_lufs) return false;
  return *crest_db <= kHighestCrestDb && *momentary_lufs - *integrated_lufs <= kSteadyLu &&
         *integrated_lufs > kQuietLufs;
}

std::optional<Caution> warning_before_playing(const FileSheet& file) {
  constexpr double kSmallestOverDb = 0.005;  // less would print as +0.00
  std::vector<std::string> reasons;
  const auto non_finite = number_of(file, "non_finite_samples").value_or(0);
  const auto overs = number_of(file, "over_full_scale_samples").value_or(0);
  const auto true_peak_dbtp = number_of(file, "true_peak");
  if (flagged(file, "byte_order_suspect")) {
    reasons.emplace_back("its bytes may be in the wrong order and play as loud noise");
  } else if (flagged(file, "implausible_scale")) {
    reasons.emplace_back("its samples are on an implausible scale and may play at full output");
  }
  if (non_finite > 0)
    reasons.emplace_back("it holds samples that are not numbers, which can come out as full-scale bangs");
  if (overs > 0) {
    reasons.emplace_back(fmt::format("{:.0f} {} over full scale", overs, overs == 1 ? "sample is" : "samples are"));
  } else if (true_peak_dbtp && *true_peak_dbtp >= kSmallestOverDb) {
    reasons.emplace_back(fmt::format("its true peak is over full scale ({:+.2f} dBTP)", *true_peak_dbtp));
  }
  if (looks_like_a_tone(file)) reasons.emplace_back("it looks like a steady test tone");
  if (reasons.empty()) return std::nullopt;
  std::string text = "Before you play this file, turn your monitors down: ";
  for (std::size_t i = 0; i < reasons.size(); ++i) {
    if (i > 0) text += i + 1 == reasons.size() ? ", and " : ", ";
    text += reasons[i];
  }
  return Caution{text + ".", "common practice, no source"};
}

struct Estimated {
  std::optional<Estimate> level;
  std::string why_not;  // for the sheet, when there is a calibration and no estimate
};

Estimated estimate_for(const FileSheet& file, const std::optional<Monitoring>& monitoring) {
  if (!monitoring) return {};
  if (const auto problem = problem_with(*monitoring)) return {{}, "the calibration cannot be used (" + *problem + ")"};
  if (monitoring->kind == Monitoring::Kind::headphones && file.facts.channels > 2)
    return {{}, "how this many channels reach two ears is not known"};
  if (flagged(file, "implausible_scale") || flagged(file, "byte_order_suspect"))
    return {{}, "the samples are not on a plausible scale"};
  const auto level_dbfs = number_of(file, "a_weighted_level");
  if (!level_dbfs) return {{}, "it has no A-weighted level"};
  return {estimate_level(*monitoring, *level_dbfs, file.facts.channels), {}};
}

std::string range_text(const Estimate& estimate) {
  const auto to = level_text(estimate.to_dba);
  if (estimate.to_dba - estimate.from_dba < 0.05) return "about " + to;
  return fmt::format("{:.1f} to {}", rounded_to_tenth(estimate.from_dba), to);
}

void add_estimate(std::vector<Caution>& cautions, const FileSheet& file, const Monitoring& monitoring,
                  const Estimate& estimate) {
  // The times belong to the level as it is printed, so that a reader can check them against the tables.
  const double upper_dba = rounded_to_tenth(estimate.to_dba);
  const bool headphones = monitoring.kind == Monitoring::Kind::headphones;
  cautions.push_back(
      {fmt::format("Estimated level of this file {}: {}. At {} the WHO/ITU weekly allowance lasts {} for adults, {} "
                   "for sensitive listeners.",
                   headphones ? "at the louder ear on your calibrated headphones" : "in your calibrated room",
                   range_text(estimate), level_text(upper_dba),
                   allowance_text(upper_dba, Listener::adult, file.facts.duration_s),
                   allowance_text(upper_dba, Listener::sensitive, file.facts.duration_s)),
       kWeeklySource});
  cautions.push_back({fmt::format("At {} the NIOSH daily limit for work is reached after {}.", level_text(upper_dba),
                                  daily_text(upper_dba)),
                      kDailySource});
}

// 79 dB(A): two loudspeakers near the EBU's 73 dB(C) each with a loud mix. 85, and 91 below: loud, and where people drift to
// after hours. Examples, not advice.
std::string example_allowances(double file_s) {
  return fmt::format("If you monitor at 79 dB(A), the WHO/ITU weekly allowance lasts {} for adults, {} for sensitive "
                     "listeners; at 85 dB(A) {}, {}.",
                     allowance_text(79, Listener::adult, 0), allowance_text(79, Listener::sensitive, 0),
                     allowance_text(85, Listener::adult, file_s), allowance_text(85, Listener::sensitive, file_s));
}

Caution what_estimates_are(const std::optional<Monitoring>& monitoring, std::string_view what_for) {
  std::string text =
      "These figures are estimates, no substitute for a calibrated sound level meter or a qualified person; local "
      "rules apply.";
  if (!monitoring) text += fmt::format(" Add [monitoring] to your configuration to have {} estimated.", what_for);
  return {std::move(text), "common practice, no source"};
}

void add_examples(std::vector<Caution>& cautions, const FileSheet& file, const std::string& why_not) {
  const std::string text = why_not.empty() ? "" : "The level of this file was not estimated: " + why_not + ". ";
  cautions.push_back({text + example_allowances(file.facts.duration_s), kWeeklySource});
  cautions.push_back({fmt::format("If you monitor at 85 dB(A), the NIOSH daily limit for work is reached after {}; at "
                                  "91 dB(A) after {}.",
                                  daily_text(85), daily_text(91)),
                      kDailySource});
}

}  // namespace

std::vector<Caution> cautions(const FileSheet& file, const std::optional<Monitoring>& monitoring) {
  std::vector<Caution> cautions;
  if (file.error) return cautions;
  if (auto warning = warning_before_playing(file)) cautions.push_back(std::move(*warning));
  const auto estimated = estimate_for(file, monitoring);
  if (estimated.level) {
    add_estimate(cautions, file, *monitoring, *estimated.level);
  } else {
    add_examples(cautions, file, estimated.why_not);
  }
  cautions.push_back(what_estimates_are(monitoring, "the level of a file"));
  return cautions;
}

void add_played(Played& played, const std::optional<Monitoring>& monitoring, double seconds, std::optional<double> a_power, double gain_db, int channels) {
  // A-weighting lifts by no more than 1.3 dB.
  constexpr double kMostPowerOfAChannel = 1.35;
  played.seconds += seconds;
  if (!monitoring || problem_with(*monitoring) || !a_power) return;
  if (monitoring->kind == Monitoring::Kind::headphones && channels > 2) return;
  played.estimated_s += seconds;
  const double power = std::min(*a_power * std::pow(10, gain_db / 10), kMostPowerOfAChannel * channels);
  if (!(power > 0)) return;
  const auto level = estimate_level(*monitoring, 10 * std::log10(power), channels);
  const auto share = [&](double level_dba) { return seconds / 3600 / weekly_hours(level_dba, Listener::adult); };
  played.low_share += share(level.from_dba);
  played.high_share += share(level.to_dba);
}

PlayedWords words_of(const Played& played, const std::optional<Monitoring>& monitoring) {
  PlayedWords words;
  words.time = played.seconds > 0 ? "Played since the program started: " + duration_text(played.seconds / 3600) + "." : "Nothing was played yet.";
  const auto problem = monitoring ? problem_with(*monitoring) : std::nullopt;
  if (!monitoring || problem) {
    words.rest = "How much of your weekly allowance that is cannot be estimated: ";
    words.rest += problem ? "the calibration cannot be used (" + *problem + ")." : "there is no [monitoring] in your configuration.";
    return words;
  }
  if (!(played.seconds > 0)) return words;
  const double left_s = played.seconds - played.estimated_s;
  const bool headphones = monitoring->kind == Monitoring::Kind::headphones;
  if (played.estimated_s > 0) {
    const double for_sensitive = weekly_hours(80, Listener::adult) / weekly_hours(80, Listener::sensitive);
    words.exposure = fmt::format("Estimated, {}, as {} of the WHO/ITU weekly allowance for adults, {} for sensitive listeners",
                                 headphones ? "at the louder ear on your calibrated headphones" : "in your calibrated room",
                                 share_text(played.low_share, played.high_share), share_text(for_sensitive * played.low_share, for_sensitive * played.high_share));
    if (left_s >= 1) words.exposure += fmt::format("; {} of it, whose level is not known, are not in that", duration_text(left_s / 3600));
    words.exposure += ". It counts what this page played and nothing else, and is no substitute for a sound level meter or a qualified person; local rules apply.";
    words.rest = words.exposure;
    words.source = kWeeklySource;
  } else {
    words.rest = "How loud that was cannot be estimated: its level is not known.";
  }
  return words;
}

std::vector<Caution> playing_cautions(const std::optional<Monitoring>& monitoring) {
  return {{std::string(kBeforePlaying) + " " + example_allowances(0), kWeeklySource},
          what_estimates_are(monitoring, "what you have played")};
}

}  // namespace sendworthy::safety
